//! Scores the verdicts on a labelled folder: `score FOLDER PROFILES`.
//!
//! FOLDER holds logs and a `truth.json`: an array of objects with `file` (path under FOLDER), `board`, `class`, `accept`
//! (classes that count as right), `phases` (`name`, `start_s`, `end_s`), `departures` (`"<phase> above|below"`) and, for
//! stalls, `stalled_in`. PROFILES holds `<board>.toml`; `-` scores without profiles.

use feedtale::reference::Profile;
use feedtale::verdict::{Class, Direction, Finding, Sources, diagnose};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::path::Path;

/// Phases as long as this are scored, with starts this near counting as found (seconds).
const LEAST_PHASE_S: f64 = 0.8;
const NEAR_S: f64 = 0.7;

struct Case {
    truth: Value,
    finding: Finding,
}

impl Case {
    fn text(&self, key: &str) -> &str {
        self.truth[key].as_str().unwrap_or("")
    }
    fn words(&self, key: &str) -> Vec<&str> {
        self.truth[key]
            .as_array()
            .map(|list| list.iter().filter_map(Value::as_str).collect())
            .unwrap_or_default()
    }
    fn right(&self) -> bool {
        self.words("accept").contains(&self.finding.verdict.class.name())
    }
    fn wrong(&self) -> String {
        let verdict = &self.finding.verdict;
        format!("{} {} -> {} {:.2}", self.text("file"), self.text("class"), verdict.class, verdict.confidence)
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().collect();
    let [_, folder, profiles] = arguments.as_slice() else {
        return Err("usage: score FOLDER PROFILES (or - for none)".into());
    };
    let cases = cases(Path::new(folder), Path::new(profiles))?;
    confusion(&cases);
    rates(&cases);
    departures(&cases);
    reliability(&cases);
    starts(&cases);
    groups(&cases);
    one_board_left_out(&cases);
    Ok(())
}

fn cases(folder: &Path, profiles: &Path) -> Result<Vec<Case>, Box<dyn Error>> {
    let truth: Vec<Value> = serde_json::from_slice(&std::fs::read(folder.join("truth.json"))?)?;
    truth.into_iter().map(|truth| case(folder, profiles, truth)).collect()
}

fn case(folder: &Path, profiles: &Path, truth: Value) -> Result<Case, Box<dyn Error>> {
    let file = truth["file"].as_str().ok_or("a case without file")?;
    let log = feedtale::trace::read_file(folder.join(file))?;
    let name = profiles.join(format!("{}.toml", truth["board"].as_str().unwrap_or("")));
    let profile = if profiles == Path::new("-") { None } else { Some(Profile::read(&name)?) };
    Ok(Case { finding: diagnose(&log.trace, profile.as_ref(), &Sources::default()), truth })
}

fn confusion(cases: &[Case]) {
    let mut table: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for case in cases {
        *table.entry((case.text("class"), case.finding.verdict.class.name())).or_default() += 1;
        if !case.right() {
            println!("wrong: {}", case.wrong());
        }
    }
    println!("\ntruth            verdict          cases");
    for ((truth, verdict), count) in table {
        println!("{truth:16} {verdict:16} {count:5}");
    }
}

fn rates(cases: &[Case]) {
    let right = cases.iter().filter(|case| case.right()).count();
    println!("\nright: {right} of {}", cases.len());
    let is = |case: &Case, class: Class| case.finding.verdict.class == class;
    let faulty =
        |case: &&Case| case.text("class") != "full-boot" && !case.words("accept").contains(&"full-boot");
    println!(
        "faulty called full-boot: {}",
        cases.iter().filter(faulty).filter(|c| is(c, Class::FullBoot)).count()
    );
    let healthy: Vec<&Case> = cases.iter().filter(|case| case.text("class") == "full-boot").collect();
    println!(
        "healthy condemned: {} of {}",
        healthy.iter().filter(|c| !is(c, Class::FullBoot)).count(),
        healthy.len()
    );
    let shorts: Vec<&Case> = cases.iter().filter(|case| case.text("class") == "hard-short").collect();
    println!(
        "hard shorts missed: {} of {}",
        shorts.iter().filter(|c| !is(c, Class::HardShort)).count(),
        shorts.len()
    );
    let stalled: Vec<&Case> = cases.iter().filter(|case| case.text("class") == "stalled").collect();
    let placed = stalled
        .iter()
        .filter(|c| c.finding.verdict.stalled_in.as_deref() == Some(c.text("stalled_in")))
        .count();
    println!("stalls placed right: {placed} of {}", stalled.len());
}

fn departures(cases: &[Case]) {
    let (mut listed, mut found, mut false_alarms) = (0, 0, 0);
    for case in cases.iter().filter(|case| case.text("class") == "full-boot") {
        let wanted = case.words("departures");
        let said: Vec<String> = case
            .finding
            .departures
            .iter()
            .map(|d| {
                let side = if matches!(d.direction, Direction::Above | Direction::Longer) {
                    "above"
                } else {
                    "below"
                };
                format!("{} {side}", d.phase)
            })
            .collect();
        listed += wanted.len();
        found += wanted.iter().filter(|wanted| said.iter().any(|said| said == *wanted)).count();
        if wanted.is_empty() && !said.is_empty() {
            false_alarms += 1;
            println!("false departure: {} {said:?}", case.text("file"));
        }
    }
    println!("departures found: {found} of {listed}; healthy boards flagged: {false_alarms}");
}

fn reliability(cases: &[Case]) {
    println!("\nconfidence   cases  right");
    for tenth in 0..10_u32 {
        let low = f64::from(tenth) / 10.0;
        let bin: Vec<&Case> =
            cases.iter().filter(|c| (low..low + 0.1).contains(&c.finding.verdict.confidence)).collect();
        if !bin.is_empty() {
            println!(
                "{low:.1} to {:.1}   {:5}  {:5}",
                low + 0.1,
                bin.len(),
                bin.iter().filter(|c| c.right()).count()
            );
        }
    }
}

fn starts(cases: &[Case]) {
    let (mut hit, mut wanted, mut said) = (0, 0, 0);
    for case in cases
        .iter()
        .filter(|c| ["full-boot", "stalled", "dropped-out", "standby-only"].contains(&c.text("class")))
    {
        let long = |start: f64, end: f64| end - start > LEAST_PHASE_S;
        let truth: Vec<f64> = case.truth["phases"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(|p| Some((p["start_s"].as_f64()?, p["end_s"].as_f64()?)))
            .filter(|(start, end)| long(*start, *end))
            .map(|(start, _)| start)
            .collect();
        let found: Vec<f64> = case
            .finding
            .phases
            .iter()
            .filter(|p| p.name != "off")
            .filter(|p| long(p.start_s.value(), p.end_s.value()))
            .map(|p| p.start_s.value())
            .collect();
        wanted += truth.len();
        said += found.len();
        hit += truth.iter().filter(|at| found.iter().any(|f| (*f - **at).abs() <= NEAR_S)).count();
    }
    println!(
        "\nphase starts: {hit} of {wanted} found, {said} said, F1 {:.3}",
        2.0 * f64::from(hit_count(hit)) / f64::from(hit_count(wanted + said))
    );
}

fn hit_count(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

fn group(class: &str) -> &'static str {
    match class {
        "hard-short" | "partial-short" => "short",
        "standby-only" | "excess-standby" => "standby",
        "cycling" | "feed-limited" => "cycling or starved",
        "no-draw" => "no-draw",
        _ => "the rest",
    }
}

fn groups(cases: &[Case]) {
    let right = |case: &&Case| {
        case.words("accept").iter().any(|class| group(class) == group(case.finding.verdict.class.name()))
    };
    println!("coarse groups right: {} of {}", cases.iter().filter(right).count(), cases.len());
    for case in cases.iter().filter(|case| !right(case)) {
        println!("other group: {}", case.wrong());
    }
}

/// Sharpens odds of the class that was said by the power 1 / `temperature`.
fn sharpened(confidence: f64, temperature: f64) -> f64 {
    let (yes, no) = (confidence.powf(1.0 / temperature), (1.0 - confidence).powf(1.0 / temperature));
    yes / (yes + no)
}

/// Mean negative logarithm of the probability given to what was the case (right or not).
fn loss<'a>(cases: impl Iterator<Item = &'a Case>, temperature: f64) -> f64 {
    let losses: Vec<f64> = cases
        .map(|case| {
            let said = sharpened(case.finding.verdict.confidence.clamp(1e-6, 1.0 - 1e-6), temperature);
            -(if case.right() { said } else { 1.0 - said }).ln()
        })
        .collect();
    losses.iter().sum::<f64>() / f64::from(hit_count(losses.len()))
}

/// The temperature of least loss, from a half to two in steps of 5 %.
fn fitted<'a>(cases: &(impl Iterator<Item = &'a Case> + Clone)) -> f64 {
    let steps = (-14..=14).map(|step| 1.05_f64.powi(step));
    steps.min_by(|a, b| loss(cases.clone(), *a).total_cmp(&loss(cases.clone(), *b))).unwrap_or(1.0)
}

/// Every board scored with confidence fitted on all the other boards, and never on itself.
fn one_board_left_out(cases: &[Case]) {
    let boards: BTreeSet<&str> = cases.iter().map(|case| case.text("board")).collect();
    println!("\none board left out of the fit   T fitted   cases  right   loss   0.9 and over  right");
    for board in &boards {
        let others = cases.iter().filter(|case| case.text("board") != *board);
        let own: Vec<&Case> = cases.iter().filter(|case| case.text("board") == *board).collect();
        let temperature = if boards.len() > 1 { fitted(&others) } else { 1.0 };
        let sure: Vec<&&Case> = own
            .iter()
            .filter(|case| sharpened(case.finding.verdict.confidence, temperature) >= 0.9)
            .collect();
        println!(
            "{board:30} {temperature:9.2} {:7} {:6} {:6.3} {:14} {:6}",
            own.len(),
            own.iter().filter(|case| case.right()).count(),
            loss(own.iter().copied(), temperature),
            sure.len(),
            sure.iter().filter(|case| case.right()).count(),
        );
    }
}
