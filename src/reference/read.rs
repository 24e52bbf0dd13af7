//! A profile from TOML, every fault named by line, key and remedy.

use super::document::{self, Section, Text};
use super::error::{ProfileError, ProfileFault, ProfileProblem};
use super::model::{
    Check, Envelope, Feed, Learned, PathSection, PhaseReference, Profile, Quantity, SourceLog, StageMeasure,
};
use crate::units::{Amps, Volts};
use std::path::Path;

type Result<T> = std::result::Result<T, ProfileFault>;

/// The profile format that this version reads and writes.
pub(super) const FORMAT: u32 = 1;

/// A profile of a hundred boards with all their evidence stays below a megabyte; a log may be far larger.
const MOST_BYTES: u64 = 16 << 20;

/// The verdict classes that a check may ask for. They are spelt out here because a reference knows nothing of
/// verdicts; a test holds them equal to the classes of findings.
pub const CHECK_CLASSES: [&str; 12] = [
    "no-draw",
    "hard-short",
    "partial-short",
    "excess-standby",
    "standby-only",
    "latch-off",
    "cycling",
    "stalled",
    "full-boot",
    "dropped-out",
    "feed-limited",
    "inconclusive",
];

const PHASE_KEYS: [&str; 10] = [
    "order",
    "name",
    "waits_for_person",
    "mean_power_w",
    "peak_power_w",
    "activity_w",
    "duration_s",
    "energy_j",
    "volts_exponent",
    "volts_exponent_sd",
];

/// Names that findings use for stretches that are no stage of a board.
const RESERVED: [(&str, &str); 3] = [
    ("off", "the time without feed"),
    ("rest", "the pause between attempts"),
    ("attempt", "a start that was given up"),
];

impl Profile {
    /// Reads the profile in the file at `path`.
    ///
    /// # Errors
    /// [`ProfileError`], with path, and line and key where the text is at fault.
    pub fn read(path: &Path) -> std::result::Result<Self, ProfileError> {
        let unreadable = |source| ProfileError::Unreadable { path: path.to_owned(), source };
        let facts = std::fs::metadata(path).map_err(unreadable)?;
        if facts.is_dir() {
            return Err(ProfileError::Directory { path: path.to_owned() });
        }
        if facts.len() > MOST_BYTES {
            let (bytes, limit) = (facts.len(), MOST_BYTES);
            return Err(ProfileError::TooLarge { path: path.to_owned(), bytes, limit });
        }
        Self::from_bytes(path, &std::fs::read(path).map_err(unreadable)?)
    }

    /// Reads the profile in `bytes`, which messages call `path`.
    ///
    /// # Errors
    /// [`ProfileError::NotText`] or [`ProfileError::Invalid`].
    pub fn from_bytes(path: &Path, bytes: &[u8]) -> std::result::Result<Self, ProfileError> {
        let text = std::str::from_utf8(bytes).map_err(|error| {
            let at = error.valid_up_to();
            let line = bytes[..at].split(|byte| *byte == b'\n').count();
            ProfileError::NotText { path: path.to_owned(), at, line }
        })?;
        Self::from_toml(text).map_err(|fault| ProfileError::Invalid { path: path.to_owned(), fault })
    }

    /// Reads a profile from its text.
    ///
    /// # Errors
    /// [`ProfileFault`]: the first fault, with line, key and the nearest right one.
    pub fn from_toml(text: &str) -> Result<Self> {
        document::parse(text.trim_start_matches('\u{feff}'), profile)
    }
}

fn profile(root: &Section) -> Result<Profile> {
    root.only(&["profile", "board", "description", "feed", "phase", "learned", "power_path", "check"])?;
    format_is_known(root)?;
    let phases = phases(root)?;
    let names: Vec<&str> = phases.iter().map(|phase| phase.name.as_str()).collect();
    Ok(Profile {
        board: root.needed_text("board", "the board model, as logs name it")?.value,
        description: root.text("description")?.map_or_else(String::new, |text| text.value),
        feed: feed(root)?,
        learned: learned(root, &names)?,
        power_path: power_path(root, &names)?,
        checks: checks(root, &names)?,
        phases,
    })
}

fn format_is_known(root: &Section) -> Result<()> {
    match root.number("profile")? {
        Some(found) if found > f64::from(FORMAT) => {
            Err(root.fault_of("profile", ProfileProblem::Format { found, known: FORMAT }))
        }
        Some(found) if found < f64::from(FORMAT) => {
            Err(root.out_of_range("profile", &found.to_string(), "the format of this file, which is 1"))
        }
        _ => Ok(()),
    }
}

// ---- feed ----

fn feed(root: &Section) -> Result<Feed> {
    let section = root
        .table("feed", "[feed]".into())?
        .ok_or_else(|| root.missing("feed", "the table [feed] says how the board is to be fed"))?;
    section.only(&["nominal_v", "lowest_v", "highest_v", "limit_a", "point", "cautions"])?;
    let nominal = positive(&section, "nominal_v", "usual feed volts")?;
    let lowest = positive(&section, "lowest_v", "lowest volts at which a good board boots")?;
    let highest = positive(&section, "highest_v", "highest volts that do no harm")?;
    in_order(&section, ("lowest_v", lowest), ("nominal_v", nominal))?;
    in_order(&section, ("nominal_v", nominal), ("highest_v", highest))?;
    let limit = positive(&section, "limit_a", "advised current limit in amperes")?;
    Ok(Feed {
        nominal: Volts::new(nominal).unwrap_or_default(),
        lowest: Volts::new(lowest).unwrap_or_default(),
        highest: Volts::new(highest).unwrap_or_default(),
        limit: Amps::new(limit).unwrap_or_default(),
        point: section.needed_text("point", "where on the board the supply is connected")?.value,
        cautions: values(section.texts("cautions")?),
    })
}

fn values(texts: Vec<Text>) -> Vec<String> {
    texts.into_iter().map(|text| text.value).filter(|value| !value.is_empty()).collect()
}

fn positive(section: &Section, key: &str, meaning: &str) -> Result<f64> {
    let value = section.number(key)?.ok_or_else(|| section.missing(key, meaning))?;
    if value > 0.0 { Ok(value) } else { Err(section.out_of_range(key, &value.to_string(), "above 0")) }
}

fn in_order(section: &Section, lower: (&str, f64), upper: (&str, f64)) -> Result<()> {
    if lower.1 <= upper.1 {
        return Ok(());
    }
    Err(section.fault_of(
        lower.0,
        ProfileProblem::CrossedLimits {
            place: section.place.clone(),
            lower: lower.0.to_owned(),
            lower_value: lower.1,
            upper: upper.0.to_owned(),
            upper_value: upper.1,
        },
    ))
}

// ---- phases ----

fn phases(root: &Section) -> Result<Vec<PhaseReference>> {
    let mut sections = root.tables("phase")?;
    if sections.is_empty() {
        return Err(root.missing("phase", "at least one [[phase]] says what a good board does"));
    }
    let mut seen: Vec<(String, usize)> = Vec::new();
    let mut last_order = f64::NEG_INFINITY;
    let count = sections.len();
    let mut phases = Vec::with_capacity(count);
    for (index, section) in sections.iter_mut().enumerate() {
        let name = phase_name(section, &mut seen)?;
        last_order = order_follows(section, last_order)?;
        let phase = phase(section, name)?;
        stands_right(section, &phase, index, count)?;
        phases.push(phase);
    }
    Ok(phases)
}

fn phase_name(section: &mut Section, seen: &mut Vec<(String, usize)>) -> Result<String> {
    if let Ok(Some(name)) = section.text("name") {
        section.place = format!("{} ({})", section.place, name.value);
    }
    section.only(&PHASE_KEYS)?;
    let name = section.needed_text("name", "the name of the stage")?.value;
    if let Some((_, meaning)) = RESERVED.iter().find(|(reserved, _)| *reserved == name) {
        let (place, meaning) = (section.place.clone(), (*meaning).to_owned());
        return Err(section.fault_of("name", ProfileProblem::ReservedName { place, name, meaning }));
    }
    unique(section, "name", name, seen)
}

/// Refuses a name that was used before; else remembers it.
fn unique(section: &Section, key: &str, name: String, seen: &mut Vec<(String, usize)>) -> Result<String> {
    if let Some((_, first_line)) = seen.iter().find(|(earlier, _)| *earlier == name) {
        let (place, first_line) = (section.place.clone(), *first_line);
        return Err(section.fault_of(key, ProfileProblem::DuplicateName { place, name, first_line }));
    }
    seen.push((name.clone(), section.line_of(key)));
    Ok(name)
}

/// `order` is there so that a block moved by mistake is noticed; it may be left out, and may skip numbers.
fn order_follows(section: &Section, last: f64) -> Result<f64> {
    let Some(order) = section.number("order")? else { return Ok(last) };
    if order > last {
        return Ok(order);
    }
    let reason = format!("its order is {order} but it stands after the phase of order {last}");
    Err(section.fault_of("order", ProfileProblem::PhaseOrder { place: section.place.clone(), reason }))
}

fn phase(section: &Section, name: String) -> Result<PhaseReference> {
    Ok(PhaseReference {
        name,
        waits_for_person: section.flag("waits_for_person")?.unwrap_or(false),
        mean_power: needed_envelope(section, Quantity::MeanPower)?,
        peak_power: needed_envelope(section, Quantity::PeakPower)?,
        activity: needed_envelope(section, Quantity::Activity)?,
        duration: envelope(section, Quantity::Duration)?,
        energy: envelope(section, Quantity::Energy)?,
        volts_exponent: volts_exponent(section)?,
        volts_exponent_sd: optional_bound(section, "volts_exponent_sd")?,
    })
}

/// From a source that is fed less the more volts there are (-2) to one that rises faster than a resistor (4).
fn volts_exponent(section: &Section) -> Result<f64> {
    const PLAUSIBLE: std::ops::RangeInclusive<f64> = -2.0..=4.0;
    let exponent = section.number("volts_exponent")?.unwrap_or(0.0);
    if PLAUSIBLE.contains(&exponent) {
        return Ok(exponent);
    }
    let expected = "0 (constant watts), 1 (constant amps), 2 (resistive) or a number from -2 to 4";
    Err(section.out_of_range("volts_exponent", &exponent.to_string(), expected))
}

fn stands_right(section: &Section, phase: &PhaseReference, index: usize, count: usize) -> Result<()> {
    let (first, last) = (index == 0, index + 1 == count);
    let reason = if phase.waits_for_person && !first {
        "only the first phase can wait for a person"
    } else if phase.duration.is_some() && last && count > 1 {
        "the last phase is the running level, which has no duration"
    } else if phase.duration.is_none() && !last && !phase.waits_for_person {
        "only the last phase (the running level) and one that waits for a person have no duration_s"
    } else {
        return Ok(());
    };
    let (place, reason) = (section.place.clone(), reason.to_owned());
    Err(section.fault(ProfileProblem::PhaseOrder { place, reason }))
}

fn needed_envelope(section: &Section, quantity: Quantity) -> Result<Envelope> {
    let meaning = format!("the envelope of {}, as in {{ low = 1, typical = 2, high = 3 }}", quantity.name());
    envelope(section, quantity)?.ok_or_else(|| section.missing(quantity.key(), &meaning))
}

fn envelope(section: &Section, quantity: Quantity) -> Result<Option<Envelope>> {
    let place = format!("{} of {}", quantity.key(), section.place);
    let Some(table) = section.table(quantity.key(), place)? else { return Ok(None) };
    table.only(&["low", "typical", "high"])?;
    let low = bound(&table, "low", "the lower bound")?;
    let high = bound(&table, "high", "the upper bound")?;
    in_order(&table, ("low", low), ("high", high))?;
    let typical = if table.has("typical") {
        bound(&table, "typical", "the centre")?
    } else {
        (low * high).sqrt().clamp(low, high)
    };
    in_order(&table, ("low", low), ("typical", typical))?;
    in_order(&table, ("typical", typical), ("high", high))?;
    Ok(Some(Envelope { low, typical, high }))
}

/// No board on a bench supply draws so many watts, lasts so many seconds or takes so many joules: a slip of the pen.
const MOST: f64 = 1e9;

fn bound(table: &Section, key: &str, meaning: &str) -> Result<f64> {
    let value = table.number(key)?.ok_or_else(|| table.missing(key, meaning))?;
    match value {
        0.0..=MOST => Ok(value),
        _ => Err(table.out_of_range(key, &format!("{value:e}"), &format!("0 to {MOST:e}"))),
    }
}

/// A number from 0 on, if the key is there.
fn optional_bound(table: &Section, key: &str) -> Result<Option<f64>> {
    table.has(key).then(|| bound(table, key, "a measured value")).transpose()
}

// ---- power path and checks ----

fn power_path(root: &Section, phases: &[&str]) -> Result<Vec<PathSection>> {
    let mut seen = Vec::new();
    root.tables("power_path")?
        .iter()
        .map(|section| {
            section.only(&["section", "proved_by", "skipped_from"])?;
            let name = section.needed_text("section", "what the section is, for people")?.value;
            let proved_by = section.texts("proved_by")?;
            for phase in &proved_by {
                exists(section, "proved_by", "the phase", phase, phases)?;
            }
            Ok(PathSection {
                section: unique(section, "section", name, &mut seen)?,
                proved_by: values(proved_by),
                skipped_from: values(section.texts("skipped_from")?),
            })
        })
        .collect()
}

fn checks(root: &Section, phases: &[&str]) -> Result<Vec<Check>> {
    root.tables("check")?
        .iter()
        .map(|section| {
            section.only(&["class", "stage", "probe"])?;
            let class = section.needed_text("class", "the verdict class that asks for the check")?;
            exists(section, "class", "the verdict class", &class, &CHECK_CLASSES)?;
            let stage = section.text("stage")?;
            if let Some(stage) = &stage {
                exists(section, "stage", "the phase", stage, phases)?;
            }
            Ok(Check {
                class: class.value,
                stage: stage.map(|text| text.value),
                probe: section.needed_text("probe", "what to probe, in words")?.value,
            })
        })
        .collect()
}

fn exists(section: &Section, key: &str, kind: &'static str, name: &Text, known: &[&str]) -> Result<()> {
    if known.contains(&name.value.as_str()) {
        return Ok(());
    }
    Err(ProfileFault::new(
        name.line,
        ProfileProblem::UnknownName {
            key: key.to_owned(),
            place: section.place.clone(),
            kind,
            found: name.value.clone(),
            nearest: document::nearest(&name.value, known.iter().copied()),
            known: known.iter().map(ToString::to_string).collect(),
        },
    ))
}

// ---- learned ----

fn learned(root: &Section, phases: &[&str]) -> Result<Learned> {
    let Some(section) = root.table("learned", "[learned]".into())? else { return Ok(Learned::default()) };
    section.only(&["boards", "captures", "date", "feed_v", "log"])?;
    let boards = section.count("boards")?.ok_or_else(|| section.missing("boards", "how many boards"))?;
    let captures =
        section.count("captures")?.ok_or_else(|| section.missing("captures", "how many captures"))?;
    #[expect(clippy::cast_precision_loss, reason = "counts stay below 1e9")]
    in_order(&section, ("boards", boards as f64), ("captures", captures as f64))?;
    let feed = section.has("feed_v").then(|| positive(&section, "feed_v", "")).transpose()?;
    Ok(Learned {
        boards,
        captures,
        date: section.text("date")?.map_or_else(String::new, |text| text.value),
        feed: feed.and_then(|volts| Volts::new(volts).ok()),
        logs: section.tables("log")?.iter().map(|log| source_log(log, phases)).collect::<Result<_>>()?,
    })
}

fn source_log(section: &Section, phases: &[&str]) -> Result<SourceLog> {
    section.only(&["name", "sha256", "serial", "feed_v", "stage"])?;
    let name = section.needed_text("name", "the file name of the log")?.value;
    let feed = section.has("feed_v").then(|| positive(section, "feed_v", "")).transpose()?;
    Ok(SourceLog {
        name,
        sha256: sha256(section)?,
        serial: section.text("serial")?.map(|text| text.value).filter(|serial| !serial.is_empty()),
        feed: feed.and_then(|volts| Volts::new(volts).ok()),
        stages: section.tables("stage")?.iter().map(|stage| measure(stage, phases)).collect::<Result<_>>()?,
    })
}

fn sha256(section: &Section) -> Result<String> {
    let hash = section.needed_text("sha256", "the SHA-256 of the log")?.value.to_lowercase();
    if hash.len() == 64 && hash.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return Ok(hash);
    }
    let found = format!("{} characters long", hash.len());
    Err(section.out_of_range("sha256", &found, "64 hexadecimal digits"))
}

fn measure(section: &Section, phases: &[&str]) -> Result<StageMeasure> {
    section.only(&[
        "phase",
        "mean_w",
        "peak_w",
        "activity_w",
        "duration_s",
        "energy_j",
        "volts",
        "sd_w",
        "seen_s",
        "update_s",
    ])?;
    let phase = section.needed_text("phase", "the stage that was measured")?;
    exists(section, "phase", "the phase", &phase, phases)?;
    let needed = |key: &str| bound(section, key, "a measured value");
    let optional = |key: &str| optional_bound(section, key);
    Ok(StageMeasure {
        phase: phase.value,
        mean_power: needed("mean_w")?,
        peak_power: needed("peak_w")?,
        activity: needed("activity_w")?,
        duration: optional("duration_s")?,
        energy: optional("energy_j")?,
        volts: needed("volts")?,
        uncertainty: optional("sd_w")?.unwrap_or(0.0),
        seen: optional("seen_s")?,
        update: optional("update_s")?,
    })
}
