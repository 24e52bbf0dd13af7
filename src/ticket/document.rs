//! What a ticket says, before it is put into text, Markdown or HTML.

use super::{Notes, symptom};
use crate::render::words;
use crate::units::{Amps, Seconds, Volts, Watts, counted, figures, in_steps, span_in_steps, volts_as_set};
use crate::verdict::{
    Attempt, COMMON, Class, Departure, Finding, LogFacts, Phase, SectionProof, SectionState, Tries,
};

/// Phases that a page has room for; a board that tries again and again has hundreds.
const MOST_PHASES: usize = 20;

/// Headings of the tables, which the words for the picture speak of.
const DEPARTURES: &str = "Unlike good boards";
const PHASES: &str = "Phases";

/// A ticket as a heading, the verdict and sections, in the order in which they are read.
#[derive(Debug)]
pub(super) struct Document {
    /// Board, serial, ticket.
    pub(super) title: String,
    /// The verdict in words.
    pub(super) headline: String,
    /// How far the board got, and how sure that is.
    pub(super) standing: String,
    pub(super) sections: Vec<Section>,
}

/// A part of a ticket under its own heading.
#[derive(Debug)]
pub(super) struct Section {
    pub(super) heading: &'static str,
    pub(super) body: Body,
    /// Left out of the short text.
    pub(super) detail: bool,
}

#[derive(Debug)]
pub(super) enum Body {
    /// Somebody's words, in paragraphs.
    Quote(Vec<String>),
    List(Vec<String>),
    /// What something is, and its value.
    Facts(Vec<(&'static str, String)>),
    Table {
        head: &'static [&'static str],
        rows: Vec<Vec<String>>,
        /// What the table leaves out, if anything.
        rest: Option<String>,
    },
}

impl Body {
    fn is_empty(&self) -> bool {
        match self {
            Self::Quote(lines) | Self::List(lines) => lines.is_empty(),
            Self::Facts(facts) => facts.is_empty(),
            Self::Table { rows, .. } => rows.is_empty(),
        }
    }
}

impl Document {
    pub(super) fn new(finding: &Finding, notes: &Notes, log_name: &str, log_sha256: &str) -> Self {
        let section = |heading, body| Section { heading, body, detail: false };
        let detail = |heading, body| Section { heading, body, detail: true };
        let lines = |lines: &[String]| Body::List(lines.iter().map(|line| plain(line)).collect());
        let sharpened = symptom::sharpen(notes.symptom.as_deref().unwrap_or_default(), finding);
        let mut sections = vec![
            section("Customer says", quote(notes.symptom.as_deref())),
            section("Technician's note", quote(notes.note.as_deref())),
            section("Because", lines(&finding.verdict.because)),
            section(DEPARTURES, departures(finding)),
            section("What this run proves", Body::Facts(power_path(finding))),
            with_symptom(&sharpened),
            // What can hurt stands before the work that it can hurt in.
            section(words::CAUTION, lines(&finding.cautions)),
        ];
        sections.extend(
            finding.grouped_checks().into_iter().map(|group| {
                section(group.heading, Body::List(group.checks.into_iter().map(plain).collect()))
            }),
        );
        sections.extend([
            section("What this capture cannot show", lines(&finding.limits)),
            detail(PHASES, phases(finding)),
            section("How it was measured", Body::Facts(measured(finding, log_name, log_sha256))),
        ]);
        sections.retain(|section| !section.body.is_empty());
        let headline = format!("{}{}", words::headline_of(finding), words::departures_clause(finding));
        Self { title: title(&finding.log), headline: plain(&headline), standing: standing(finding), sections }
    }
}

impl Document {
    /// What the picture shows, for those who do not see it.
    pub(super) fn picture_in_words(&self) -> String {
        let in_tables = if self.has(DEPARTURES) && self.has(PHASES) {
            " The phases and the departures are in the tables."
        } else if self.has(PHASES) {
            " The phases are in the table."
        } else {
            ""
        };
        format!("Amps and volts of the run over time. {}. {}{in_tables}", self.headline, self.standing)
    }

    fn has(&self, heading: &str) -> bool {
        self.sections.iter().any(|section| section.heading == heading)
    }
}

/// Text that cannot upset the page it stands on: control characters and those that turn the writing direction become
/// spaces, and white space is one space.
fn plain(text: &str) -> String {
    let calm = |c: char| {
        let turns = matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        if c.is_control() || turns { ' ' } else { c }
    };
    let calmed: String = text.chars().map(calm).collect();
    calmed.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn quote(words: Option<&str>) -> Body {
    let paragraphs = words.unwrap_or_default().split(['\n', '\r']).map(plain);
    Body::Quote(paragraphs.filter(|line| !line.is_empty()).collect())
}

fn known(word: Option<&String>) -> Option<String> {
    word.map(|word| plain(word)).filter(|word| !word.is_empty())
}

fn title(log: &LogFacts) -> String {
    let board = known(log.board.as_ref()).unwrap_or_else(|| "unnamed board".into());
    let serial = known(log.serial.as_ref()).map(|serial| format!(" {serial}")).unwrap_or_default();
    let ticket = known(log.ticket.as_ref()).map(|ticket| format!(", ticket {ticket}")).unwrap_or_default();
    format!("{board}{serial}{ticket}")
}

fn standing(finding: &Finding) -> String {
    let verdict = &finding.verdict;
    if verdict.class == Class::Inconclusive {
        // How likely nothing is decided is of no use to anybody; why is.
        let why = verdict.because.first().map(|why| format!(": {}", plain(why))).unwrap_or_default();
        return format!("Verdict {}{why}.", verdict.class);
    }
    let sure = words::confidence(finding);
    let got_to = words::got_to(verdict).map(|told| format!("{}. ", capitalized(&plain(&told))));
    format!("{}Verdict {}, {sure}.", got_to.unwrap_or_default(), words::kind(verdict.class))
}

fn capitalized(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn departures(finding: &Finding) -> Body {
    let resolution = finding.log.resolution_a;
    let row = |departure: &Departure| {
        vec![
            plain(&words::departure(departure)),
            words::measured(departure, resolution),
            words::envelope(departure, resolution),
            finding.log.time(departure.starts_s.value()),
        ]
    };
    Body::Table {
        head: &["what", "measured", "good boards", "from"],
        rows: finding.departures.iter().map(row).collect(),
        rest: None,
    }
}

/// What the customer's words add; where all of it is common practice, the heading says so once.
fn with_symptom(sharpened: &[String]) -> Section {
    let bare: Option<Vec<&str>> = sharpened.iter().map(|line| line.strip_suffix(COMMON)).collect();
    let (heading, lines) = match bare.filter(|lines| !lines.is_empty()) {
        Some(bare) => {
            ("With what the customer says (common practice)", bare.into_iter().map(plain).collect())
        }
        None => ("With what the customer says", sharpened.iter().map(|line| plain(line)).collect()),
    };
    Section { heading, body: Body::List(lines), detail: false }
}

/// The sections of the board by what the run says of them, in the order of the power path.
fn power_path(finding: &Finding) -> Vec<(&'static str, String)> {
    let states = [
        (SectionState::Proved, "Works"),
        (SectionState::Suspect, "Suspect"),
        (SectionState::NotExercised, "Not tried from this feed point"),
        (SectionState::Unknown, "Not known"),
    ];
    let named = |state| {
        let of_state = finding.power_path.iter().filter(move |proof| proof.state == state);
        of_state.map(with_ground).collect::<Vec<_>>().join(", ")
    };
    let facts = states.map(|(state, word)| (word, named(state)));
    facts.into_iter().filter(|(_, sections)| !sections.is_empty()).collect()
}

/// The section, with the ground on which it is suspect or not known: what works needs none on a ticket.
fn with_ground(proof: &SectionProof) -> String {
    let why = proof.why.as_ref().filter(|_| proof.state != SectionState::Proved);
    plain(&why.map_or_else(|| proof.section.clone(), |why| format!("{} ({why})", proof.section)))
}

pub(super) fn phases(finding: &Finding) -> Body {
    let shown = together(finding);
    let left_out = shown.len().saturating_sub(MOST_PHASES);
    Body::Table {
        head: &["phase", "from", "lasts", "mean", "lowest to highest", "volts", "power"],
        rows: shown.iter().take(MOST_PHASES).map(|(phase, times)| row(finding, phase, *times)).collect(),
        rest: (left_out > 0).then(|| format!("{left_out} more are in finding.json.")),
    }
}

/// A phase, or the mean of so many of its name.
fn row(finding: &Finding, phase: &Phase, times: u32) -> Vec<String> {
    let resolution = finding.log.resolution_a;
    let amps = |amps: Amps| words::amps(amps.value(), resolution);
    vec![
        named(finding, phase, times),
        finding.log.time(phase.start_s.value()),
        lasts(finding, phase, times),
        amps(phase.mean_a),
        words::range(&amps(phase.min_a), &amps(phase.max_a)),
        volts(finding, phase),
        watts(finding, phase),
    ]
}

/// How long a phase lasts, so that its start and its length add up to the start of the next; of so many each.
fn lasts(finding: &Finding, phase: &Phase, times: u32) -> String {
    let (start, end) = (phase.start_s.value(), phase.end_s.value());
    match times {
        1 => span_in_steps(start, end, finding.log.update_s().unwrap_or(0.0)),
        several => format!("{} each", finding.log.time((end - start) / f64::from(several))),
    }
}

/// The name of a phase, or of so many of them. What the alignment could not take apart is tries, as everywhere else: as
/// many of them as the finding counts.
fn named(finding: &Finding, phase: &Phase, times: u32) -> String {
    let name = plain(words::shorted(finding, phase).unwrap_or(&phase.name));
    match (name.as_str(), times) {
        ("attempt", 1) => match tries_within(finding, phase) {
            0 | 1 => "try".into(),
            several => words::tries(several),
        },
        ("attempt", _) => Tries::of(&finding.attempts, &finding.log.gaps).map_or_else(
            || words::tries(times as usize),
            |tries| {
                // Those whose stages show have rows of their own.
                if (times as usize) < tries.count {
                    return format!("{times} of {}", words::tries(tries.count));
                }
                let on = if tries.one_is_on { ", and one that is on" } else { "" };
                format!("{}{on}", words::tries(tries.count))
            },
        ),
        (_, 1) => name,
        ("rest", _) => format!("rest between tries, {times} times"),
        _ => format!("{name}, {times} times"),
    }
}

/// How many starts lie in a phase.
fn tries_within(finding: &Finding, phase: &Phase) -> usize {
    let middle = |start: &Attempt| f64::midpoint(start.start_s.value(), start.end_s.value());
    let within = |start: &&Attempt| (phase.start_s.value()..phase.end_s.value()).contains(&middle(start));
    finding.attempts.iter().filter(within).count()
}

/// Volts as they are read; what open leads pick up while the output is off is none.
fn volts(finding: &Finding, phase: &Phase) -> String {
    if phase.name == "off" { "0 V".into() } else { finding.log.volts(phase.mean_v) }
}

/// Power, no finer than the amps behind it.
fn watts(finding: &Finding, phase: &Phase) -> String {
    let step = finding.log.resolution_a.map_or(0.0, Amps::value);
    match phase.name.as_str() {
        "off" => "0 W".into(),
        _ => in_steps(phase.mean_w.value(), step * phase.mean_v.value().abs(), "W"),
    }
}

/// The phases in order, those of tries and the rests between them taken together by name: a page of them says no more
/// than one row each.
fn together(finding: &Finding) -> Vec<(Phase, u32)> {
    /// Fewer tries are told one by one.
    const FEW: usize = 3;
    let span = match finding.attempts.as_slice() {
        tries if tries.len() >= FEW => tries.first().zip(tries.last()),
        _ => None,
    };
    let mut found: Vec<(Phase, u32)> = Vec::new();
    // Where the rows of the tries begin.
    let mut begin = None;
    for phase in &finding.phases {
        let middle = f64::midpoint(phase.start_s.value(), phase.end_s.value());
        let within =
            span.is_some_and(|(first, last)| (first.start_s.value()..=last.end_s.value()).contains(&middle));
        let begin = if within { *begin.get_or_insert(found.len()) } else { found.len() };
        match found[begin..].iter_mut().find(|(known, _)| known.name == phase.name) {
            Some((known, times)) => {
                *known = joined(known, phase);
                *times += 1;
            }
            None => found.push((phase.clone(), 1)),
        }
    }
    found
}

/// Two phases as one that begins with the first and lasts as long as both: means by time, extremes of both.
fn joined(first: &Phase, second: &Phase) -> Phase {
    let length = |phase: &Phase| phase.end_s.value() - phase.start_s.value();
    let (before, more) = (length(first), length(second));
    let share = if before + more > 0.0 { more / (before + more) } else { 0.5 };
    let mean = |a: f64, b: f64| a + (b - a) * share;
    Phase {
        end_s: Seconds::new(first.end_s.value() + more).unwrap_or(first.end_s),
        mean_a: Amps::new(mean(first.mean_a.value(), second.mean_a.value())).unwrap_or(first.mean_a),
        min_a: if second.min_a.value() < first.min_a.value() { second.min_a } else { first.min_a },
        max_a: if second.max_a.value() > first.max_a.value() { second.max_a } else { first.max_a },
        mean_v: Volts::new(mean(first.mean_v.value(), second.mean_v.value())).unwrap_or(first.mean_v),
        mean_w: Watts::new(mean(first.mean_w.value(), second.mean_w.value())).unwrap_or(first.mean_w),
        ..first.clone()
    }
}

/// Where the numbers come from; what the log does not say is left out.
fn measured(finding: &Finding, log_name: &str, log_sha256: &str) -> Vec<(&'static str, String)> {
    let log = &finding.log;
    let facts: [(&'static str, Option<String>); 10] = [
        ("Fed at", known(log.feed_point.as_ref())),
        ("Set to", set(log)),
        ("Supply", known(log.supply.as_ref())),
        ("Started", known(log.started.as_ref()).map(|started| moment(&started))),
        ("Readings", Some(readings(log))),
        ("Gaps", (!log.gaps.is_empty()).then(|| log.gaps.len().to_string())),
        ("Compared with", Some(compared(finding))),
        ("Log", Some(log_name.to_owned())),
        ("SHA-256 of the log", Some(log_sha256.to_owned())),
        ("Made by", Some(plain(&format!("{} {}", finding.tool.name, finding.tool.version)))),
    ];
    facts.into_iter().filter_map(|(what, value)| Some((what, value?))).collect()
}

/// Date, time to the minute and offset from UTC; what is no RFC 3339 date stays as it is.
fn moment(started: &str) -> String {
    let parsed = chrono::DateTime::parse_from_rfc3339(started);
    parsed.map_or_else(|_| started.to_owned(), |moment| moment.format("%Y-%m-%d %H:%M %:z").to_string())
}

fn set(log: &LogFacts) -> Option<String> {
    let limit = log.limit_a.map(|limit| format!("limit {limit}"));
    let volts = log.set_v.map(|volts| volts_as_set(volts.value()));
    let parts: Vec<String> = volts.into_iter().chain(limit).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn readings(log: &LogFacts) -> String {
    let parts = [
        log.duration_s.map(|time| format!(" in {time}")),
        log.poll_hz.map(|hertz| format!(", read {} times a second", figures(hertz, 2))),
        log.changed_hz.map(|hertz| format!(", with a new value {} times", figures(hertz, 2))),
        log.resolution_a.map(|step| format!(", in steps of {}", words::amps(step.value(), Some(step)))),
    ];
    format!("{}{}", log.samples, parts.into_iter().flatten().collect::<String>())
}

fn compared(finding: &Finding) -> String {
    let Some(profile) = &finding.profile else { return "no known-good boards".into() };
    let (boards, captures) = (counted(profile.boards, "board"), counted(profile.captures, "capture"));
    plain(&format!("{}: {boards}, {captures}", profile.name))
}
