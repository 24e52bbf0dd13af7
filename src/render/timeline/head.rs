//! The head: verdict, evidence, stages.

use super::super::geometry::Rect;
use super::super::parts::{Subject, heading, ladder};
use super::super::sheet::Sheet;
use super::super::words;
use crate::verdict::{Class, Finding};

/// Draws the head and returns where it ends.
pub(super) fn draw(sheet: &mut Sheet, subject: &Subject) -> i32 {
    let area = sheet.inside();
    let badge = heading::badge(sheet, subject.finding);
    let text =
        format!("{}{}", words::headline_of(subject.finding), words::departures_clause(subject.finding));
    let (mut aside, mut said) = (words::beside_headline(subject.finding), evidence(subject.finding));
    // A line of its own would cost a very low figure the room of the note.
    if sheet.is_very_low() && !heading::has_room_beside(sheet, area.width()) && !aside.is_empty() {
        said = format!("{aside}{}{said}", heading::BETWEEN);
        aside.clear();
    }
    let below = heading::draw(sheet, area, Some(badge), &text, &aside);
    let mut y = heading::lines(sheet, Rect { top: below, ..area }, &said, 2);
    if let Some(profile) = subject.profile {
        y = ladder::draw(sheet, profile, subject, Rect { top: y + sheet.u(8.0), ..area });
    }
    y + sheet.u(12.0)
}

/// The facts that decided; where they decide nothing, also what to do about it.
fn evidence(finding: &Finding) -> String {
    match finding.next_checks.first() {
        Some(check) if finding.verdict.class == Class::Inconclusive => to_decide(finding, check),
        // Of a toss-up it is what tells the two apart.
        Some(check) if words::is_toss_up(&finding.verdict) => to_decide(finding, check),
        _ if finding.verdict.class == Class::FeedLimited => first_of(&why_limited(finding)),
        _ if matches!(finding.verdict.class, Class::LatchOff | Class::Cycling) => {
            first_of(&how_often(finding))
        }
        _ => {
            first_of(&departs(finding).into_iter().chain(finding.verdict.because.clone()).collect::<Vec<_>>())
        }
    }
}

/// `loader: 21.4 s, good boards 3.23 to 11.7 s`: of a full boot by how much it departs, which the headline says without numbers
/// and a small figure has no note for.
fn departs(finding: &Finding) -> Option<String> {
    let first = finding.departures.first().filter(|_| finding.verdict.class == Class::FullBoot)?;
    let numbers = words::departure_numbers(first, finding.log.resolution_a);
    Some(format!("{}: {numbers}", first.phase))
}

/// Of tries how many there are and where they end: what starts them is said in the text, and a press stands below the trace.
fn how_often(finding: &Finding) -> Vec<&str> {
    finding.verdict.because.iter().filter_map(|fact| fact.split("; ").next()).collect()
}

/// Facts that are said under the heading: more than these nobody reads there, and the text has them all.
const MOST_FACTS: usize = 2;

fn first_of(facts: &[impl AsRef<str>]) -> String {
    facts.iter().take(MOST_FACTS).map(AsRef::as_ref).collect::<Vec<_>>().join(heading::BETWEEN)
}

/// The first fact, and what is to be done.
fn to_decide(finding: &Finding, check: &str) -> String {
    // Where the advice comes from is for the text, which has room for it.
    let check = check.strip_suffix(" (common practice)").unwrap_or(check);
    // What is too short has its length in the headline.
    let first = finding.verdict.because.iter().find(|_| !words::is_too_short(finding)).cloned();
    first_of(&first.into_iter().chain([format!("to decide: {check}")]).collect::<Vec<_>>())
}

/// Of a starved board first that the limit is below what good boards draw, then what else is said of the limit: the tries
/// are counted over the ribbon as well.
fn why_limited(finding: &Finding) -> Vec<&str> {
    let mut parts: Vec<&str> = finding.verdict.because.iter().flat_map(|fact| fact.split("; ")).collect();
    let reason = finding.verdict.none_could_boot.as_deref();
    parts.sort_by_key(|part| (reason != Some(*part), !part.contains("limit")));
    parts
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::cycling;
    use super::*;

    #[test]
    fn of_a_starved_board_the_reason_comes_first_whatever_its_words() {
        let mut finding = cycling(3);
        (finding.verdict.class, finding.verdict.because) = (
            Class::FeedLimited,
            vec![
                "3 tries".into(),
                "the supply marks its limit (cc) in 3 tries; all sound ones take 2 A".into(),
            ],
        );
        assert!(evidence(&finding).starts_with("the supply marks its limit"), "{}", evidence(&finding));
        finding.verdict.none_could_boot = Some("all sound ones take 2 A".into());
        assert!(evidence(&finding).starts_with("all sound ones take 2 A"), "{}", evidence(&finding));
    }

    #[test]
    fn two_facts_are_said_under_the_heading_and_of_a_toss_up_what_tells_the_two_apart() {
        let mut finding = cycling(3);
        finding.verdict.because = ["one; and how", "two", "three"].map(String::from).into();
        finding.next_checks = vec!["look at its light (common practice)".into(), "and more".into()];
        assert_eq!(evidence(&finding), "one · two");
        let runner_up = Some(crate::verdict::RunnerUp { class: Class::LatchOff, confidence: 0.45 });
        (finding.verdict.confidence, finding.verdict.runner_up) = (0.5, runner_up);
        assert_eq!(evidence(&finding), "one; and how · to decide: look at its light");
        finding.verdict.class = Class::Inconclusive;
        finding.verdict.because =
            vec!["1.2 s of feed were captured".into(), "it ends 1.2 s after switch-on".into()];
        assert_eq!(evidence(&finding), "to decide: look at its light", "the headline has the length");
    }

    #[test]
    fn of_a_full_boot_it_is_said_by_how_much_it_departs() {
        let mut finding = super::super::super::fixtures::finding(Vec::new());
        (finding.verdict.class, finding.verdict.because) = (Class::FullBoot, vec!["stages reached".into()]);
        finding.departures.truncate(1);
        let departure = &mut finding.departures[0];
        (departure.direction, departure.unit) = (crate::verdict::Direction::Longer, "s".into());
        (departure.measured, departure.low, departure.high) = (21.4, 3.23, 11.7);
        assert_eq!(evidence(&finding), "stage 0: 21.4 s, good boards 3.23 to 11.7 s · stages reached");
    }
}
