//! Boards invented at random: feed, levels, lengths, busyness, and what wakes them.

use feedtale::simulator::BoardModel;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::error::Error;
use std::fmt::Write;

const BIRDS: [&str; 12] = [
    "avocet",
    "brambling",
    "dipper",
    "garganey",
    "goldcrest",
    "knot",
    "lapwing",
    "pipit",
    "redwing",
    "siskin",
    "smew",
    "twite",
];
/// Stages in the order in which boards have them, the running level last; a board has some of them.
const STAGES: [&str; 6] = ["rails", "loader", "firmware", "system", "network", "running"];
const FEEDS_V: [f64; 6] = [3.85, 5.0, 9.0, 12.6, 19.0, 24.0];

/// The `index`th board of a set.
///
/// # Errors
/// If the numbers drawn are none that a board can have.
pub(crate) fn invent(index: usize, random: &mut ChaCha8Rng) -> Result<BoardModel, Box<dyn Error>> {
    let count = random.random_range(3..=6);
    let volts = FEEDS_V[random.random_range(0..FEEDS_V.len())];
    let most = volts * log_uniform(0.15, 2.0, random);
    let by_button = random.random_bool(0.65);
    let name = format!("{}-{}", BIRDS[random.random_range(0..BIRDS.len())], 10 * (index + 1) + count);
    let mut text = head(&name, volts, most, by_button, random);
    for (place, watts) in levels(count, most, random).into_iter().enumerate() {
        text.push_str(&stage(place, count, watts, random));
    }
    Ok(BoardModel::from_toml(&text)?)
}

fn head(name: &str, volts: f64, most: f64, by_button: bool, random: &mut ChaCha8Rng) -> String {
    let standby = most * log_uniform(0.005, 0.06, random);
    let mut text = format!(
        "name = \"{name}\"\ndescription = \"an invented board\"\nserial_prefix = \"X\"\nfeed_point = \"main rail\"\n\
         feed_v = {volts}\nlowest_v = {}\nhighest_v = {}\nlimit_a = {}\nwake = \"{}\"\nhold_s = {}\n\
         capacitance_f = {}\nundervoltage_v = {}\nrestart_v = {}\npower_good_s = {}\nwarming_share = {}\nwarming_s = {}\n\
         [unit]\npower = {}\nduration = {}\nrun = 0.03\n[standby]\nwatts = {standby}\nflutter_share = 0.012\n",
        volts * 0.88,
        volts * 1.15,
        random.random_range(1.7..2.6) * most / volts,
        if by_button { "button" } else { "power" },
        if by_button { random.random_range(0.08..0.8) } else { random.random_range(0.3..2.5) },
        log_uniform(1e-4, 1.5e-3, random),
        volts * 0.62,
        volts * 0.72,
        random.random_range(0.03..0.25),
        random.random_range(0.01..0.05),
        random.random_range(15.0..60.0),
        random.random_range(0.03..0.06),
        random.random_range(0.04..0.08),
    );
    if random.random_bool(0.35) {
        let (watts, period) = (standby * random.random_range(0.4..1.5), random.random_range(0.9..4.0));
        let _ = writeln!(
            text,
            "pulse = {{ watts = {watts}, seconds = 0.06, period_s = {period}, jitter_share = 0.04 }}"
        );
    }
    text
}

/// Watts of the stages: rising to the hungriest, the last but one as a rule, with now and then a step down between.
fn levels(count: usize, most: f64, random: &mut ChaCha8Rng) -> Vec<f64> {
    let hungriest = count - 2;
    let mut share = random.random_range(0.12..0.3);
    let mut levels = Vec::new();
    for place in 0..count {
        levels.push(most * if place == hungriest { 1.0 } else { share });
        // Never two stages alike in a row: those are one to any supply.
        let down = share > 0.55 || random.random_bool(0.2);
        share *= if down { random.random_range(0.5..0.75) } else { random.random_range(1.35..2.0) };
    }
    levels[count - 1] = most * random.random_range(0.4..0.85);
    levels
}

fn stage(place: usize, count: usize, watts: f64, random: &mut ChaCha8Rng) -> String {
    let last = place + 1 == count;
    // The first and the last of the names always, and what lies between as far as the board has stages.
    let name = if last { STAGES[STAGES.len() - 1] } else { STAGES[place] };
    let mut text = format!("[[stage]]\nname = \"{name}\"\nwatts = {watts}\n");
    if !last {
        let seconds = if place == 0 { log_uniform(0.4, 2.0, random) } else { log_uniform(1.2, 11.0, random) };
        let _ = writeln!(text, "seconds = {seconds}");
    }
    if place == 0 && random.random_bool(0.4) {
        text.push_str("steps = [0.4, 0.7, 1.0]\n");
    }
    let busy = if place == 0 || last { 0.015 } else { random.random_range(0.02..0.15) };
    let _ = writeln!(text, "flutter_share = {busy}\nflutter_s = {}", random.random_range(0.1..0.4));
    if !last && random.random_bool(0.6) {
        let surge = watts * random.random_range(0.3..1.2);
        let _ =
            writeln!(text, "surge = {{ watts = {surge}, seconds = {} }}", log_uniform(0.005, 0.06, random));
    }
    text + &work(place, last, watts, random)
}

/// Work on top: by the clock in a running level, at random in a stage of the start.
fn work(place: usize, last: bool, watts: f64, random: &mut ChaCha8Rng) -> String {
    let top = watts * random.random_range(0.15..0.6);
    if last && random.random_bool(0.5) {
        let (seconds, period) = (random.random_range(0.1..0.5), random.random_range(1.0..5.0));
        format!(
            "pulse = {{ watts = {top}, seconds = {seconds}, period_s = {period}, jitter_share = 0.05 }}\n"
        )
    } else if place > 0 && random.random_bool(if last { 0.2 } else { 0.6 }) {
        let (mean, every) = (random.random_range(0.1..0.3), random.random_range(0.7..1.6));
        format!("burst = {{ watts = {top}, mean_s = {mean}, every_s = {every} }}\n")
    } else {
        String::new()
    }
}

/// A number between the two whose logarithm is as likely anywhere.
pub(crate) fn log_uniform(low: f64, high: f64, random: &mut ChaCha8Rng) -> f64 {
    random.random_range(low.ln()..high.ln()).exp()
}
