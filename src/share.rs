//! Work on a long log, shared out among the processors.

use rayon::prelude::*;
use std::ops::Range;

/// With fewer samples than this, sharing the work out takes longer than doing it: to wake a thread takes some ten
/// microseconds, to look at so many samples a few times that.
pub(crate) const WORTH_SHARING: usize = 1 << 16;

/// What `work` makes of each of `items`, in order. They hold so many `samples` in all.
pub(crate) fn each<Item: Sync, Done: Send>(
    items: &[Item],
    samples: usize,
    work: impl Fn(&Item) -> Done + Send + Sync,
) -> Vec<Done> {
    if samples < WORTH_SHARING {
        items.iter().map(work).collect()
    } else {
        items.par_iter().map(work).collect()
    }
}

/// What both make of so many `samples`, side by side if they are many.
pub(crate) fn both<One: Send, Other: Send>(
    samples: usize,
    one: impl FnOnce() -> One + Send,
    other: impl FnOnce() -> Other + Send,
) -> (One, Other) {
    if samples < WORTH_SHARING { (one(), other()) } else { rayon::join(one, other) }
}

/// Whether `holds` is true of every index of `range`.
pub(crate) fn all(range: Range<usize>, holds: impl Fn(usize) -> bool + Send + Sync) -> bool {
    let parts: Vec<usize> = range.clone().step_by(WORTH_SHARING).collect();
    let part = |start: &usize| (*start..range.end.min(start + WORTH_SHARING)).all(&holds);
    if parts.len() == 1 { parts.iter().all(part) } else { parts.par_iter().all(part) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_looks_at_every_index_once_and_at_no_other() {
        for range in [0..0, 1..2, 5..WORTH_SHARING + 5, 1..3 * WORTH_SHARING] {
            assert!(all(range.clone(), |index| range.contains(&index)));
            let last = range.end.saturating_sub(1);
            assert_eq!(all(range.clone(), |index| index != last), range.is_empty());
        }
    }

    #[test]
    fn what_is_made_of_each_keeps_its_order() {
        let items: Vec<usize> = (0..1000).collect();
        for samples in [0, WORTH_SHARING] {
            assert!(each(&items, samples, |item| item + 1).into_iter().eq(1..=1000));
        }
    }
}
