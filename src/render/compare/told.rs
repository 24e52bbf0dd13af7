//! The moments that the common time axis of two runs tells.

use super::super::align::{self, Moment, Zero};
use super::super::moments::{self, AT_ONCE, AT_PRESS, PRESS, SWITCH_ON, Wanted, is_pressed_again};
use super::super::parts::{Subject, Told, notes};
use super::super::sheet::Sheet;
use super::NAMES;

/// When each run left what good boards do, and when both were pressed, where one is set beside the other by that.
pub(super) fn wanted(
    sheet: &Sheet,
    (runs, zeros): (&[Subject; 2], &[Zero]),
    faults: [Option<f64>; 2],
) -> Vec<Wanted> {
    let of = |index: usize| {
        let (run, zero, at) = (&runs[index], zeros[index], faults[index]?);
        let said = moments::in_words(run, zero, at);
        let (weight, fewer) = (Wanted::weight_of(&said), moments::in_fewer_words(&said));
        // Set beside the other by its switch-on it is fed as that is, and the word is true of both.
        let bare = fewer.clone().filter(|fewer| zero.moment == Moment::AsOthers && fewer == SWITCH_ON);
        // Below the lower panel it would be taken for that of the run after; `before 15 s` would be a time.
        let named = [said].into_iter().chain(fewer).map(|said| format!("{}: {said}", NAMES[index]));
        let words = named.chain(bare).collect();
        Some(Wanted { at: at - zero.at, words, color: notes::color(sheet, run), weight })
    };
    let mut wanted: Vec<Wanted> = [of(0), of(1)].into_iter().flatten().collect();
    if let Some(at) = pressed(runs, zeros).filter(|at| !wanted.iter().any(|other| other.is_press_at(*at))) {
        let words = if are_several(runs) {
            vec!["last press of both".to_owned(), "last press".to_owned()]
        } else {
            vec!["both pressed".to_owned(), "pressed".to_owned()]
        };
        wanted.push(Wanted { at, words, color: sheet.palette.text, weight: AT_PRESS });
    }
    wanted
}

impl Wanted {
    fn is_press_at(&self, at: f64) -> bool {
        (self.at - at).abs() <= AT_ONCE && self.words.iter().any(|words| words.contains(PRESS))
    }
}

/// Whether one of them was pressed in vain before the press that counts.
fn are_several(runs: &[Subject; 2]) -> bool {
    runs.iter().any(|run| is_pressed_again(run))
}

/// When both are pressed, on the common time, where one is set beside the other by that.
pub(super) fn pressed(runs: &[Subject; 2], zeros: &[Zero]) -> Option<f64> {
    let (run, zero) = runs.iter().zip(zeros).find(|(_, zero)| zero.moment == Moment::AsOthersPressed)?;
    Some(align::press(run)? - zero.at)
}

/// Whether the figure says when that is, in words of its own or in those of what is wrong then.
pub(super) fn is_press_said(runs: &[Subject; 2], zeros: &[Zero], told: &[Told]) -> bool {
    pressed(runs, zeros).is_none() || pressed_and_told(runs, zeros, told).is_some()
}

/// The same where the axis has a word for its line: one without would be taken for anything.
pub(super) fn pressed_and_told(runs: &[Subject; 2], zeros: &[Zero], told: &[Told]) -> Option<f64> {
    let says =
        |at: f64| told.iter().any(|(of, words, _)| (of - at).abs() <= AT_ONCE && words.contains(PRESS));
    pressed(runs, zeros).filter(|at| says(*at))
}
