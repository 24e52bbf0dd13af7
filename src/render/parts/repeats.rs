//! Phases that repeat, so that they are named once.

use std::ops::Range;

/// Runs of phases that repeat by name at least three times, of phases that have one (between tries, firmware, between tries, firmware …).
pub(super) fn repeats(names: &[Option<String>]) -> Vec<Range<usize>> {
    const PERIODS: std::ops::RangeInclusive<usize> = 2..=4;
    const TIMES: usize = 3;
    let mut groups = Vec::new();
    let mut start = 0;
    while start < names.len() {
        let run = |period: usize| {
            let same = |i: &usize| names[*i].is_some() && names[*i] == names[*i + period];
            period + (start..names.len().saturating_sub(period)).take_while(same).count()
        };
        // The shortest period that repeats often enough.
        let found = PERIODS
            .map(|period| (period, run(period)))
            .find(|(period, length)| *length >= TIMES * period - 1);
        match found {
            Some((_, length)) => {
                groups.push(start..(start + length).min(names.len()));
                start += length;
            }
            None => start += 1,
        }
    }
    groups
}

/// `firmware, between tries, 7 times`: what repeats, and how often the first comes.
pub(super) fn repeated<'a>(all: impl Iterator<Item = &'a str> + Clone) -> String {
    /// More names than these are not read at a glance.
    const MOST: usize = 4;
    let mut names: Vec<&str> = Vec::new();
    for name in all.clone() {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let times = names.first().map_or(0, |first| all.filter(|name| name == first).count());
    names.truncate(MOST);
    format!("{}, {}", names.join(", "), crate::units::how_often(times))
}
