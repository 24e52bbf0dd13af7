//! What the segmentation finds and misses, on made signals with known changes and on published series.
//!
//! `cargo run --release --example segment_report [SEEDS]` prints everything; nothing is set or tuned, all signals are cut
//! with the default settings. See `signals.rs` for how the signals are made.

mod published;
mod score;
mod signals;

use feedtale::segment::{Changes, Settings, Stream, changes};
use score::{Score, f1, score};
use signals::{Jumps, Signal, Stress};

/// Samples that a found change may lie off the true one where each is an observation of its own.
const MARGIN: usize = 10;

/// The same where four samples say about as much as one: repeats, and autoregressive noise.
const WIDE_MARGIN: usize = 4 * MARGIN;

fn margin(stress: Stress) -> usize {
    if matches!(stress, Stress::Autoregressive(_) | Stress::Repeats(_)) { WIDE_MARGIN } else { MARGIN }
}

fn main() {
    let seeds = std::env::args().nth(1).and_then(|word| word.parse().ok()).unwrap_or(20);
    stress_table("several", Jumps { least: 4.0, most: 10.0 }, seeds);
    stress_table("small", Jumps { least: 1.5, most: 3.0 }, seeds);
    no_changes(seeds);
    spread_table(seeds);
    published_table();
    latency_table(seeds);
}

fn cut(signal: &Signal) -> Changes {
    changes(&signal.time, &signal.values, &signals::settings())
        .expect("a series of finite values in order of time")
}

fn rows() -> [(&'static str, Stress); 10] {
    [
        ("base", Stress::None),
        ("offset 1e6", Stress::Offset(1e6)),
        ("offset 1e8", Stress::Offset(1e8)),
        ("20 spikes of 15 SD", Stress::Spikes(15.0)),
        ("rounded to 1 SD", Stress::Rounded(1.0)),
        ("rounded to 4 SD", Stress::Rounded(4.0)),
        ("each update 4 times", Stress::Repeats(4)),
        ("AR(1) 0.5", Stress::Autoregressive(0.5)),
        ("AR(1) 0.8", Stress::Autoregressive(0.8)),
        ("uneven steps, gaps", Stress::Uneven),
    ]
}

fn stress_table(what: &str, jumps: Jumps, seeds: u64) {
    println!(
        "\n{} samples, {} changes at least {} samples apart, {what} jumps of {} to {} noise SD; {seeds} seeds;\n\
         right within {MARGIN} samples ({WIDE_MARGIN} for repeats and AR); mean (worst)",
        signals::COUNT,
        signals::CHANGES,
        signals::LEAST_LENGTH,
        jumps.least,
        jumps.most,
    );
    println!(
        "{:<22}{:>16}{:>16}{:>16}{:>16}{:>16}",
        "", "fine right", "fine false", "coarse right", "coarse false", "spread false"
    );
    for (name, stress) in &rows() {
        let margin = margin(*stress);
        let (mut fine, mut coarse, mut spread) = (Vec::new(), Vec::new(), Vec::new());
        for seed in 0..seeds {
            let signal = signals::stressed(*stress, jumps, 1000 + seed);
            let found = cut(&signal);
            fine.push(score(&signal.changes, &found.fine, margin));
            coarse.push(score(&signal.changes, &found.coarse, margin));
            spread.push(Score { right: 0, wrong: found.spread.len() });
        }
        println!(
            "{name:<22}{}{}{}{}{}",
            right(&fine),
            wrong(&fine),
            right(&coarse),
            wrong(&coarse),
            wrong(&spread)
        );
    }
}

fn right(scores: &[Score]) -> String {
    let worst = scores.iter().map(|score| score.right).min().unwrap_or(0);
    cell(scores.iter().map(|score| score.right), worst)
}

fn wrong(scores: &[Score]) -> String {
    let worst = scores.iter().map(|score| score.wrong).max().unwrap_or(0);
    cell(scores.iter().map(|score| score.wrong), worst)
}

#[expect(clippy::cast_precision_loss, reason = "a few changes in a few signals")]
fn cell(counts: impl ExactSizeIterator<Item = usize>, worst: usize) -> String {
    let seeds = counts.len().max(1) as f64;
    format!("{:>16}", format!("{:.2} ({worst})", counts.sum::<usize>() as f64 / seeds))
}

fn no_changes(seeds: u64) {
    println!("\n{} samples without any change; {seeds} seeds; mean (worst) of what is found", signals::COUNT);
    println!("{:<22}{:>16}{:>16}{:>16}", "", "fine", "coarse", "spread");
    for (name, stress) in
        rows().into_iter().filter(|(_, stress)| !matches!(stress, Stress::Spikes(_))).take(9)
    {
        let (mut fine, mut coarse, mut spread) = (Vec::new(), Vec::new(), Vec::new());
        for seed in 0..seeds {
            let signal = signals::stressed(stress, Jumps { least: 0.0, most: 0.0 }, 2000 + seed);
            let found = cut(&signal);
            for (list, count) in
                [(&mut fine, found.fine), (&mut coarse, found.coarse), (&mut spread, found.spread)]
            {
                list.push(Score { right: 0, wrong: count.len() });
            }
        }
        println!("{name:<22}{}{}{}", wrong(&fine), wrong(&coarse), wrong(&spread));
    }
}

fn spread_table(seeds: u64) {
    const COUNT: usize = 6;
    println!(
        "\nchanges of spread at one level: {COUNT} in {} samples; {seeds} seeds; right within 50 samples; mean (worst)",
        signals::COUNT
    );
    println!("{:<34}{:>16}{:>16}{:>16}", "", "spread right", "spread false", "fine, not spread");
    for rounding in [0.25, 1.0, 2.0, 4.0] {
        for (ratio, count) in [(1.0, 0), (2.0, COUNT), (3.0, COUNT), (4.0, COUNT)] {
            let (mut spread, mut levels) = (Vec::new(), Vec::new());
            for seed in 0..seeds {
                let signal = signals::spreads(count, ratio, rounding, 3000 + seed);
                let found = cut(&signal);
                spread.push(score(&signal.changes, &found.spread, 50));
                let others = found.fine.iter().filter(|change| !found.spread.contains(change)).count();
                levels.push(Score { right: 0, wrong: others });
            }
            let name = if count == 0 {
                format!("none, rounded to {rounding} SD")
            } else {
                format!("SD x{ratio}, rounded to {rounding} SD")
            };
            println!("{name:<34}{}{}{}", right(&spread), wrong(&spread), wrong(&levels));
        }
    }
}

fn published_table() {
    println!(
        "\npublished series, index of the first sample after each change: fine; coarse if that is another"
    );
    let settings = Settings::default();
    let row = |name: &str, known: &str| -> Changes {
        let series = published::series(name);
        let found = changes(&series.time, &series.values, &settings).expect("a published series");
        let coarse =
            if found.coarse == found.fine { String::new() } else { format!("; coarse {:?}", found.coarse) };
        println!("{name:<20} known {known:<22} found {:?}{coarse}", found.fine);
        found
    };
    row("Nile", "28 (after 1898)");
    row("quality_control_1", "143 to 146");
    row("quality_control_2", "97 to 99");
    row("quality_control_3", "178 to 180");
    row("quality_control_4", "no agreement");
    row("quality_control_5", "none");
    let well_log = row("well_log", "see below");
    for (scale, found) in [("fine", &well_log.fine), ("coarse", &well_log.coarse)] {
        println!(
            "{:<20} {scale}: F1 (margin 5) {:.3} against {:?}, {:.3} against the five annotators",
            "",
            f1(&[published::WELL_LOG.to_vec()], found, 5),
            published::WELL_LOG,
            f1(&published::well_log_annotations(), found, 5),
        );
    }
    captures_table(&settings);
}

fn captures_table(settings: &Settings) {
    println!(
        "\nreal captures: the authors' marker, the step that the samples have, and the fine change nearest to it"
    );
    for (name, marker, step) in published::CAPTURES {
        let series = published::capture(name);
        let found = changes(&series.time, &series.values, settings).expect("a real capture");
        let (time, fine, coarse) = (&series.time, found.fine.len(), found.coarse.len());
        print!("{name:<18} {fine:>3} fine, {coarse} coarse");
        if let (Some(marker), Some(step)) = (marker, step) {
            let nearest = found.fine.iter().map(|place| time[*place]);
            let nearest =
                nearest.min_by(|a, b| (a - step).abs().total_cmp(&(b - step).abs())).unwrap_or(f64::NAN);
            let off = (nearest - marker) * 1e3;
            print!(
                "; marker {marker:.4} s, step {step:.4} s, found {nearest:.4} s, {off:+.1} ms from the marker"
            );
        }
        println!();
    }
}

/// Samples after which the stream says that a new segment began at the jump, and never takes it back.
fn latency(signal: &Signal, at: usize) -> (Option<usize>, usize) {
    let mut stream = Stream::new(Settings::default());
    let (mut told, mut before) = (None, 0);
    for (index, (time, value)) in signal.time.iter().zip(&signal.values).enumerate() {
        stream.push(*time, *value).expect("a finite value");
        let since = stream.open_since();
        if index < at {
            before += usize::from(since > 0 && index > 100);
        } else if since + MARGIN >= at {
            told = told.or(Some(index + 1 - at));
        } else {
            told = None;
        }
    }
    (told, before)
}

fn latency_table(seeds: u64) {
    const AT: usize = 1000;
    println!(
        "\nstreaming: samples from a jump until it is reported, after {AT} samples of noise; {seeds} seeds"
    );
    println!(
        "{:>10}{:>10}{:>10}{:>12}{:>30}",
        "jump (SD)", "median", "worst", "not found", "samples under a false report"
    );
    for size in [1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 20.0] {
        let signals = (0..seeds).map(|seed| signals::one_jump(AT, size, AT + 300, 4000 + seed));
        let (told, before): (Vec<_>, Vec<_>) = signals.map(|signal| latency(&signal, AT)).unzip();
        let missing = told.iter().filter(|told| told.is_none()).count();
        let mut told: Vec<usize> = told.into_iter().flatten().collect();
        told.sort_unstable();
        let at = |place: Option<&usize>| place.map_or("-".to_owned(), ToString::to_string);
        println!(
            "{size:>10}{:>10}{:>10}{missing:>12}{:>30}",
            at(told.get(told.len() / 2)),
            at(told.last()),
            before.iter().sum::<usize>()
        );
    }
}
