//! The engine's optimum against libraries and code that have nothing to do with this project: skchange's functional
//! pruning, ruptures' kernel method and a plain dynamic programme in Python, see `tests/peer/partitions.py`.

use crate::peer;
use feedtale::segment::optimum::{Loss, Optimum};
use rand::{RngExt, SeedableRng};
use std::path::Path;
use std::process::Command;

/// Relative difference of two costs that rounding may leave over 10,000 samples.
const ROUNDING: f64 = 1e-10;

/// A signal, the loss's bound if it has one, and whether two partitions of it may tie.
struct Case {
    what: &'static str,
    values: Vec<f64>,
    bound: Option<f64>,
    ties: bool,
}

impl Case {
    fn squares(what: &'static str, values: Vec<f64>) -> Self {
        Self { what, values, bound: None, ties: false }
    }

    /// A wild sample between two segments costs the same in either.
    fn bounded(what: &'static str, values: Vec<f64>, bound: f64) -> Self {
        Self { what, values, bound: Some(bound), ties: true }
    }

    fn penalty(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "at most 10,000 samples")]
        let count = self.values.len() as f64;
        2.0 * count.ln()
    }

    fn optimum(&self) -> Optimum {
        let loss = self.bound.map_or(Loss::Squares, Loss::Bounded);
        let mut optimum = Optimum::new(loss, self.penalty()).expect("a positive penalty and bound");
        optimum.extend(&self.values).expect("finite samples");
        optimum
    }

    fn json(&self) -> serde_json::Value {
        let changes = self.optimum().changes();
        serde_json::json!({
            "values": self.values, "penalty": self.penalty(), "bound": self.bound, "changes": changes,
        })
    }

    /// Equal cost, of which our own partition is worth exactly that; equal changes, unless two may tie.
    fn agrees(&self, found: &[Found]) {
        let (what, own) = (self.what, self.optimum());
        assert!(found.len() > 1, "{what}: no peer answered");
        for peer in found {
            let near = (peer.cost - own.cost()).abs() <= ROUNDING * own.cost();
            assert!(near, "{what}: {} costs {}, ours {}", peer.name, peer.cost, own.cost());
            let same = self.ties || peer.changes == own.changes();
            assert!(same, "{what}: {} found {:?}", peer.name, peer.changes);
        }
        let names: Vec<&str> = found.iter().map(|peer| peer.name.as_str()).collect();
        println!("{what}: cost {} with {} changes, {}", own.cost(), own.changes().len(), names.join(" = "));
    }
}

/// What one way to the optimum found.
struct Found {
    case: usize,
    name: String,
    cost: f64,
    changes: Vec<usize>,
}

impl Found {
    fn read(line: &str) -> Self {
        let mut words = line.split_whitespace();
        let mut word = || words.next().expect("another word");
        let (case, name, cost) = (word().parse(), word().to_owned(), word().parse());
        Self {
            case: case.expect("a number"),
            name,
            cost: cost.expect("a cost"),
            changes: words.map(|word| word.parse().expect("an index")).collect(),
        }
    }
}

fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    // Twelve uniform values less six: nearly normal, of variance one, and the same on every machine.
    move || (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0
}

fn steps(count: usize, changes: usize, seed: u64) -> Vec<f64> {
    let mut noise = noise(seed);
    let length = count / (changes + 1) + 1;
    (0..count).map(|index| [0.0, 3.0, 1.0, 5.0, 2.0][index / length % 5] + noise()).collect()
}

/// Hands all cases to the peers and compares.
fn agree(python: &Path, cases: &[Case]) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("cases.json");
    let json: serde_json::Value = cases.iter().map(Case::json).collect();
    std::fs::write(&file, json.to_string()).expect("written cases");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peer/partitions.py");
    let mut command = Command::new(python);
    // Some machines set these for old numeric libraries; a current numpy is better off without.
    command.arg(script).arg(&file).env_remove("OPENBLAS_CORETYPE").env_remove("OPENBLAS_L2_SIZE");
    let run = command.output().expect("a Python that starts");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let out = String::from_utf8_lossy(&run.stdout);
    let found: Vec<Found> = out.lines().map(Found::read).collect();
    for (number, own) in found.chunk_by(|a, b| a.case == b.case).enumerate() {
        cases[number].agrees(own);
    }
    assert_eq!(found.last().map(|last| last.case + 1), Some(cases.len()), "a case without answer");
}

fn random_walk(count: usize, seed: u64) -> Vec<f64> {
    let mut noise = noise(seed);
    let walk = (0..count).scan(0.0, |level, _| {
        *level += noise();
        Some(*level)
    });
    walk.collect()
}

#[test]
fn the_least_squares_cost_is_that_of_two_libraries() {
    let Some(python) = peer::python("skchange and ruptures") else { return };
    let signal = |changes, seed| steps(10_000, changes, seed);
    let offset = signal(20, 4).into_iter().map(|value| value + 1e6).collect();
    let rounded = signal(20, 5).into_iter().map(f64::round).collect();
    let cases = [
        Case::squares("20 changes", signal(20, 1)),
        Case::squares("500 changes", signal(500, 2)),
        Case::squares("no change", signal(0, 3)),
        Case::squares("20 changes at an offset of a million", offset),
        Case { ties: true, ..Case::squares("20 changes, rounded", rounded) },
        Case::squares("a random walk", random_walk(10_000, 6)),
    ];
    agree(&python, &cases);
}

#[test]
fn the_bounded_cost_is_that_of_a_plain_dynamic_programme() {
    let Some(python) = peer::python("a plain dynamic programme") else { return };
    let mut spiky = steps(500, 6, 7);
    (0..spiky.len()).step_by(41).for_each(|index| spiky[index] += 15.0);
    let cases = [
        Case::bounded("spikes", spiky, 4.3),
        Case::bounded("a bound beyond which every other sample lies", steps(300, 3, 8), 0.9),
    ];
    agree(&python, &cases);
}
