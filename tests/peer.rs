//! The simulated supply against an independent client: `PyVISA` with its pure-Python backend.
//!
//! `tests/peer/setup.sh` makes the environment that this needs. Without it the check says so and is passed over,
//! except where `CI` is `true`: there it must run.

use feedtale::simulator::{BoardModel, Case, Operator, Scenario, Server, Setup, SupplyKind};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The environment's Python, or `None` with a word to whoever reads the output of what goes unchecked, `against` whom.
pub(crate) fn python(against: &str) -> Option<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let venv = std::env::var_os("FEEDTALE_PEER_VENV")
        .map_or_else(|| root.join("target/peer-venv"), |venv| root.join(venv));
    let python = venv.join("bin/python");
    if python.exists() {
        return Some(python);
    }
    let why = format!("no {}; tests/peer/setup.sh makes it", python.display());
    assert!(std::env::var("CI").as_deref() != Ok("true"), "{why}");
    eprintln!("not checked against {against}: {why}");
    None
}

/// A panel that starts at power, on a supply that leaves its output to the client, ten times faster than real time.
fn setup(baud: Option<u32>) -> Setup {
    let model = BoardModel::named("kiln-24").expect("a built-in board");
    let supply = SupplyKind::named("bench-fast").expect("a built-in supply");
    let mut scenario = Scenario::new(model, Case::FullBoot, supply, 3, 1);
    scenario.operator = Operator::default();
    Setup { baud, speed: 10.0, rewind_s: None, ..Setup::new(scenario) }
}

fn session(python: &Path, server: &Server, resource: &str) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peer/pyvisa_session.py");
    let run = Command::new(python).arg(script).arg(resource).output().expect("a Python that starts");
    let (out, err) = (String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
    assert!(run.status.success() && out.ends_with("session complete\n"), "{resource}:\n{out}\n{err}");
    // The client saw the board that the bench says there was.
    let states =
        server.look(|record| record.events.iter().map(|e| format!("{:?}", e.what)).collect::<Vec<_>>());
    assert!(states.iter().any(|state| state.contains("screen")), "{states:?}");
}

#[test]
fn pyvisa_drives_a_whole_session_over_tcp() {
    let Some(python) = python("PyVISA") else { return };
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    let server = Server::tcp(setup(None), listener).expect("a server");
    session(&python, &server, &format!("TCPIP0::127.0.0.1::{port}::SOCKET"));
}

#[cfg(unix)]
#[test]
fn pyvisa_drives_a_whole_session_over_a_pseudo_terminal() {
    let Some(python) = python("PyVISA") else { return };
    let server = Server::pty(setup(Some(115_200)), None).expect("a pseudo-terminal");
    let address = server.address();
    let path = address.split('?').next().unwrap_or_default();
    session(&python, &server, &format!("ASRL{path}::INSTR"));
}
