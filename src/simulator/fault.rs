//! Trouble on the wire, by schedule.
//!
//! A [`WireFault`] is a kind of trouble and when it strikes. In words: `KIND[=TIME]@WHEN`, where WHEN is
//! `20` (the 20th answer, counted from 1), `20x3` (three answers from the 20th), `every7` (each 7th), or `4s` (the
//! first answer from 4 bench seconds on; an unplugging or a reboot strikes at that very time).
//!
//! ```
//! use feedtale::simulator::WireFault;
//! let faults: Vec<WireFault> = ["silent@20x3", "garbage@every7", "late=600ms@15", "unplug=2s@4s"]
//!     .iter()
//!     .map(|text| text.parse().unwrap())
//!     .collect();
//! assert_eq!(faults.len(), 4);
//! ```

use super::noise::Noise;
use std::str::FromStr;

/// The kinds of trouble, with what each does.
pub const TROUBLES: [(&str, &str); 15] = [
    ("silent", "the answer is lost"),
    ("garbage", "bytes of noise in its place"),
    ("cut", "only the first half of it comes"),
    ("hold", "it comes together with the next one"),
    ("glue", "it runs into the next one with no terminator between"),
    ("late=TIME", "it comes that much later"),
    ("slow=TIME", "the same, by another name"),
    ("nul", "stray NUL bytes in it"),
    ("ends", "its terminator is another one"),
    ("err", "ERR in its place"),
    ("nan", "9.91E37 in its place"),
    ("inf", "9.9E37 in its place"),
    ("unplug=TIME", "the cable is out for that long"),
    ("rename=TIME", "the same, and the port comes back under another name"),
    ("reboot=TIME", "the supply restarts and is silent for that long, its output off"),
];

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trouble {
    /// The answer is lost.
    Silent,
    /// Noise in its place.
    Garbage,
    /// Only the first half comes.
    Cut,
    /// It comes together with the next one.
    Hold,
    /// It runs into the next one with no terminator between.
    Glue,
    /// It comes that many seconds later.
    Late(f64),
    /// Stray NUL bytes in it.
    Nul,
    /// Another terminator than usual.
    Ends,
    /// `ERR` in its place.
    ErrorWord,
    /// The not-a-number of SCPI in its place.
    NotANumber,
    /// The infinity of SCPI in its place.
    Infinity,
    /// The cable is out for that many seconds.
    Unplug {
        /// For how long.
        seconds: f64,
        /// Whether the port comes back under another name.
        renamed: bool,
    },
    /// The supply restarts: output off, silent for that many seconds.
    Reboot(f64),
}

/// When it goes wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum When {
    /// With answers `first` to `first + count - 1`, counted from 1.
    Answers {
        /// The first.
        first: u64,
        /// How many.
        count: u64,
    },
    /// With each answer whose number is a multiple of this.
    Every(u64),
    /// With the first answer from this bench time on.
    At(f64),
}

/// Trouble, and when it strikes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WireFault {
    /// What goes wrong.
    pub trouble: Trouble,
    /// When.
    pub when: When,
}

/// A fault that cannot be understood.
#[derive(Debug, thiserror::Error)]
pub enum FaultError {
    /// No such trouble.
    #[error("no fault {found}; there are {known}")]
    Unknown {
        /// What was asked for.
        found: String,
        /// The kinds that there are.
        known: String,
    },
    /// No time where one is needed, or one that is none.
    #[error("fault {fault}: time '{found}'; expected a time like 2s or 600ms")]
    Time {
        /// The fault.
        fault: String,
        /// What stands there.
        found: String,
    },
    /// No schedule, or one that is none.
    #[error("fault {fault}: schedule '{found}'; expected @20, @20x3, @every7 or @4s")]
    Schedule {
        /// The fault.
        fault: String,
        /// What stands there.
        found: String,
    },
}

impl FromStr for WireFault {
    type Err = FaultError;

    fn from_str(text: &str) -> Result<Self, FaultError> {
        let (what, when) = text.split_once('@').unwrap_or((text, ""));
        let (kind, time) = what.split_once('=').unwrap_or((what, ""));
        let seconds = || {
            seconds(time).ok_or_else(|| FaultError::Time { fault: text.to_owned(), found: time.to_owned() })
        };
        let trouble = match kind {
            "silent" => Trouble::Silent,
            "garbage" => Trouble::Garbage,
            "cut" => Trouble::Cut,
            "hold" => Trouble::Hold,
            "glue" => Trouble::Glue,
            "late" | "slow" => Trouble::Late(seconds()?),
            "nul" => Trouble::Nul,
            "ends" => Trouble::Ends,
            "err" => Trouble::ErrorWord,
            "nan" => Trouble::NotANumber,
            "inf" => Trouble::Infinity,
            "unplug" => Trouble::Unplug { seconds: seconds()?, renamed: false },
            "rename" => Trouble::Unplug { seconds: seconds()?, renamed: true },
            "reboot" => Trouble::Reboot(seconds()?),
            _ => {
                let known = TROUBLES.map(|(name, _)| name).join(", ");
                return Err(FaultError::Unknown { found: kind.to_owned(), known });
            }
        };
        let when = schedule(when)
            .ok_or_else(|| FaultError::Schedule { fault: text.to_owned(), found: when.to_owned() })?;
        Ok(Self { trouble, when })
    }
}

fn schedule(text: &str) -> Option<When> {
    let whole = |text: &str| text.parse::<u64>().ok().filter(|number| *number > 0);
    if let Some(every) = text.strip_prefix("every") {
        return whole(every).map(When::Every);
    }
    if let Some((first, count)) = text.split_once('x') {
        return Some(When::Answers { first: whole(first)?, count: whole(count)? });
    }
    match whole(text) {
        Some(first) => Some(When::Answers { first, count: 1 }),
        None => seconds(text).map(When::At),
    }
}

fn seconds(text: &str) -> Option<f64> {
    let (number, factor) = match text.strip_suffix("ms") {
        Some(number) => (number, 1e-3),
        None => (text.strip_suffix('s')?, 1.0),
    };
    number.parse::<f64>().ok().map(|number| number * factor).filter(|time| (0.0..=3600.0).contains(time))
}

/// A trouble that strikes the device rather than one answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Outage {
    /// The cable is out.
    Unplug { seconds: f64, renamed: bool },
    /// The supply restarts.
    Reboot(f64),
}

/// The faults of a run, as they come due.
#[derive(Debug, Clone)]
pub(super) struct FaultPlan {
    faults: Vec<(WireFault, bool)>,
    answers: u64,
    held: Vec<u8>,
    noise: Noise,
}

impl FaultPlan {
    pub(super) fn new(faults: &[WireFault], seed: u64) -> Self {
        Self {
            faults: faults.iter().map(|fault| (*fault, false)).collect(),
            answers: 0,
            held: Vec::new(),
            noise: Noise::new(seed, 9),
        }
    }

    /// An outage that is due at `now`, once each. One that goes by answers waits until the last of them is out.
    pub(super) fn outage(&mut self, now: f64, all_out: bool) -> Option<Outage> {
        let answers = self.answers;
        self.faults.iter_mut().find_map(|(fault, struck)| {
            let outage = match fault.trouble {
                Trouble::Unplug { seconds, renamed } => Outage::Unplug { seconds, renamed },
                Trouble::Reboot(seconds) => Outage::Reboot(seconds),
                _ => return None,
            };
            let due = match fault.when {
                When::At(at) => now >= at,
                When::Answers { first, .. } | When::Every(first) => all_out && answers >= first,
            };
            (due && !std::mem::replace(struck, true)).then_some(outage)
        })
    }

    /// What becomes of an answer that is due at `now`: its bytes, and how many seconds later they come.
    pub(super) fn distort(&mut self, bytes: Vec<u8>, now: f64) -> (Vec<u8>, f64) {
        if bytes.is_empty() {
            return (bytes, 0.0);
        }
        self.answers += 1;
        let mut all = std::mem::take(&mut self.held);
        let mut later = 0.0;
        match self.trouble(now) {
            None => all.extend(bytes),
            Some(Trouble::Late(seconds)) => {
                later = seconds;
                all.extend(bytes);
            }
            Some(Trouble::Hold) => {
                all.extend(bytes);
                self.held = std::mem::take(&mut all);
            }
            Some(Trouble::Glue) => {
                all.extend(body(&bytes));
                self.held = std::mem::take(&mut all);
            }
            Some(trouble) => all.extend(self.spoilt(trouble, &bytes)),
        }
        (all, later)
    }

    fn trouble(&mut self, now: f64) -> Option<Trouble> {
        let number = self.answers;
        self.faults.iter_mut().find_map(|(fault, struck)| {
            if matches!(fault.trouble, Trouble::Unplug { .. } | Trouble::Reboot(_)) {
                return None;
            }
            let strikes = match fault.when {
                When::Answers { first, count } => number >= first && number - first < count,
                When::Every(every) => number.is_multiple_of(every),
                When::At(at) => now >= at && !std::mem::replace(struck, true),
            };
            strikes.then_some(fault.trouble)
        })
    }

    fn spoilt(&mut self, trouble: Trouble, bytes: &[u8]) -> Vec<u8> {
        let (body, end) = bytes.split_at(body(bytes).len());
        let worded = |word: &str| [word.as_bytes(), end].concat();
        match trouble {
            Trouble::Silent => Vec::new(),
            Trouble::Garbage => self.garbage(bytes.len()),
            Trouble::Cut => body[..body.len() / 2].to_vec(),
            Trouble::Nul => {
                let (front, back) = body.split_at(body.len() / 2);
                [b"\0", front, b"\0", back, end, b"\0"].concat()
            }
            Trouble::Ends => {
                let other: &[u8] = if end == b"\r\n" { b"\n" } else { b"\r\n" };
                [body, other].concat()
            }
            Trouble::ErrorWord => worded("ERR"),
            Trouble::NotANumber => worded("9.91E37"),
            Trouble::Infinity => worded("9.9E37"),
            _ => bytes.to_vec(),
        }
    }

    /// Noise of a length like the answer's.
    fn garbage(&mut self, length: usize) -> Vec<u8> {
        #[expect(clippy::cast_possible_truncation, reason = "a byte out of 256")]
        let noise = (0..length.max(1)).map(|_| self.noise.pick(256) as u8);
        noise.collect()
    }
}

/// The answer without its terminator.
fn body(bytes: &[u8]) -> &[u8] {
    let length = bytes.iter().rposition(|byte| !b"\r\n".contains(byte)).map_or(0, |last| last + 1);
    &bytes[..length]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(faults: &[&str], answers: usize) -> Vec<String> {
        let faults: Vec<WireFault> = faults.iter().map(|text| text.parse().unwrap()).collect();
        let mut plan = FaultPlan::new(&faults, 1);
        (0..answers)
            .map(|index| {
                let now = f64::from(u32::try_from(index).unwrap());
                let (bytes, later) = plan.distort(format!("12.{index}\n").into_bytes(), now);
                let later = if later > 0.0 { format!("+{later}") } else { String::new() };
                format!("{}{later}", String::from_utf8_lossy(&bytes))
            })
            .collect()
    }

    #[test]
    fn faults_strike_when_they_are_due() {
        assert_eq!(run(&["silent@2"], 3), ["12.0\n", "", "12.2\n"]);
        assert_eq!(run(&["err@2x2"], 4), ["12.0\n", "ERR\n", "ERR\n", "12.3\n"]);
        assert_eq!(run(&["nan@every2"], 4), ["12.0\n", "9.91E37\n", "12.2\n", "9.91E37\n"]);
        assert_eq!(run(&["cut@2s"], 4), ["12.0\n", "12.1\n", "12", "12.3\n"]);
        assert_eq!(run(&["late=600ms@1"], 2), ["12.0\n+0.6", "12.1\n"]);
    }

    #[test]
    fn answers_are_held_and_glued() {
        assert_eq!(run(&["hold@1"], 3), ["", "12.0\n12.1\n", "12.2\n"]);
        assert_eq!(run(&["glue@1"], 3), ["", "12.012.1\n", "12.2\n"]);
        assert_eq!(run(&["nul@1", "ends@2"], 2), ["\u{0}12\u{0}.0\n\u{0}", "12.1\r\n"]);
    }

    #[test]
    fn an_outage_strikes_once() {
        let mut plan = FaultPlan::new(&["unplug=2s@4s".parse().unwrap(), "reboot=1s@5s".parse().unwrap()], 1);
        assert_eq!(plan.outage(3.9, true), None);
        assert_eq!(plan.outage(4.0, true), Some(Outage::Unplug { seconds: 2.0, renamed: false }));
        assert_eq!(plan.outage(4.1, true), None);
        assert_eq!(plan.outage(6.0, true), Some(Outage::Reboot(1.0)));
    }

    #[test]
    fn a_fault_that_is_none_is_refused_with_its_part() {
        let message = |text: &str| text.parse::<WireFault>().unwrap_err().to_string();
        assert!(message("boom@1").starts_with("no fault boom; there are silent"));
        assert_eq!(message("unplug=x@4s"), "fault unplug=x@4s: time 'x'; expected a time like 2s or 600ms");
        assert!(message("cut@soon").contains("schedule 'soon'") && message("cut").contains("schedule ''"));
        for (word, _) in TROUBLES {
            let text = format!("{}@3", word.replace("TIME", "1s"));
            assert!(text.parse::<WireFault>().is_ok(), "{text}");
        }
    }
}
