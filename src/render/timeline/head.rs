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
        Some(check) if finding.verdict.class == Class::Inconclusive => {
            // Where the advice comes from is for the text, which has room for it.
            let check = check.strip_suffix(" (common practice)").unwrap_or(check);
            // Before the other facts: on a narrow figure there is no room for all, and this is what is to be done.
            let (first, rest) = finding.verdict.because.split_at(finding.verdict.because.len().min(1));
            let to_decide = [format!("to decide: {check}")];
            [first, &to_decide, rest].concat().join(" · ")
        }
        _ if finding.verdict.class == Class::FeedLimited => why_limited(finding).join(heading::BETWEEN),
        _ => finding.verdict.because.join(heading::BETWEEN),
    }
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
}
