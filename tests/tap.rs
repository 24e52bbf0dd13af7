//! A tap on a TCP line: keeps every byte that leaves the program, and passes everything on.

use feedtale::supply::Dialect;
use std::ffi::OsString;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::path::Path;
use std::sync::{Arc, Mutex};

/// What finding out a dialect may ask, besides nothing at all (a lone end of line). SCPI-1999 vol. 2 and IEEE 488.2.
const PROBES: [&str; 10] = [
    "*IDN?",
    "MEAS:VOLT?",
    "MEAS:CURR?",
    "MEAS:VOLT?;CURR?",
    "MEAS:ALL?",
    "MEAS?",
    "VOLT?",
    "CURR?",
    "OUTP?",
    "SYST:ERR?",
];

/// The tap of one run.
pub(crate) struct Tap {
    heard: Arc<Mutex<Vec<u8>>>,
    allowed: Vec<String>,
    ends: &'static str,
}

impl Tap {
    /// A tap on the line of a run that must only ask, whose address is then that of the tap; none for other runs.
    pub(crate) fn of_what_only_asks(arguments: &mut [OsString], folder: &Path) -> Option<Self> {
        let has = |word: &str| arguments.iter().any(|argument| argument == word);
        let command = arguments.first()?.to_str()?.to_owned();
        let asks = matches!(command.as_str(), "record" | "supplies") && !has("--drive") && !has("--prepare");
        // Where nothing listens, a tap would listen.
        let is_address = |argument: &OsString| {
            argument.to_str().is_some_and(|text| text.starts_with("tcp:") && !text.ends_with(":1"))
        };
        let place = arguments.iter().position(is_address).filter(|_| asks)?;
        let allowed = if command == "supplies" {
            PROBES.map(str::to_owned).to_vec()
        } else {
            dialect(arguments, folder)?.all_queries().into_iter().map(str::to_owned).collect()
        };
        let address = arguments[place].to_str()?.trim_start_matches("tcp:").to_owned();
        let (address, settings) =
            address.split_once('?').map_or((address.as_str(), ""), |(place, rest)| (place, rest));
        let (here, heard) = listen(address.to_owned());
        let settings = if settings.is_empty() { String::new() } else { format!("?{settings}") };
        arguments[place] = format!("tcp:{here}{settings}").into();
        Some(Self { heard, allowed, ends: "\r\n" })
    }

    /// Every byte that was sent is part of a query of the list, and nothing else.
    #[track_caller]
    pub(crate) fn assert_only_asked(&self, run: &str) {
        let heard = String::from_utf8(self.heard.lock().unwrap().clone()).expect("what is sent is text");
        for message in heard.split(|c| self.ends.contains(c)).filter(|message| !message.is_empty()) {
            assert!(self.allowed.iter().any(|query| query == message), "{run}: sent '{message}'");
        }
    }
}

/// The dialect that a run uses; none if its file is not there or is none, so that nothing can be sent.
fn dialect(arguments: &[OsString], folder: &Path) -> Option<Dialect> {
    match arguments.iter().position(|argument| argument == "--dialect") {
        Some(at) => Dialect::read(&folder.join(arguments.get(at + 1)?)).ok(),
        None => Some(Dialect::plain()),
    }
}

/// Listens for the program, and leads each of its connections on to `place`.
fn listen(place: String) -> (String, Arc<Mutex<Vec<u8>>>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let here = listener.local_addr().unwrap().to_string();
    let heard = Arc::new(Mutex::new(Vec::new()));
    let kept = Arc::clone(&heard);
    std::thread::spawn(move || {
        for near in listener.incoming().map_while(Result::ok) {
            // Nothing there: the program's connection is closed, as by a bridge whose supply is gone.
            let Ok(far) = TcpStream::connect(&place) else { continue };
            lead(&near, &far, Some(Arc::clone(&kept)));
            lead(&far, &near, None);
        }
    });
    (here, heard)
}

/// Passes on what comes from one end until it closes.
fn lead(from: &TcpStream, to: &TcpStream, heard: Option<Arc<Mutex<Vec<u8>>>>) {
    from.set_nodelay(true).unwrap();
    let (mut from, mut to) = (from.try_clone().unwrap(), to.try_clone().unwrap());
    std::thread::spawn(move || {
        let mut chunk = [0; 4096];
        while let Ok(count @ 1..) = from.read(&mut chunk) {
            if let Some(heard) = &heard {
                heard.lock().unwrap().extend_from_slice(&chunk[..count]);
            }
            if to.write_all(&chunk[..count]).is_err() {
                break;
            }
        }
        // Both ends learn of it.
        let _ = (to.shutdown(Shutdown::Both), from.shutdown(Shutdown::Both));
    });
}

#[test]
#[should_panic(expected = "sent 'OUTP ON'")]
fn the_tap_hears_an_order() {
    let heard = Arc::new(Mutex::new(b"*IDN?\nOUTP ON\n".to_vec()));
    let allowed = vec!["*IDN?".to_owned()];
    Tap { heard, allowed, ends: "\r\n" }.assert_only_asked("a run");
}
