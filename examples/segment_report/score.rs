//! How many of the true changes were found, and how many that are none.

/// Right and false changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Score {
    pub(crate) right: usize,
    pub(crate) wrong: usize,
}

/// A true change is right if a found one lies within `margin` of it; each found one serves for one true change only.
pub(crate) fn score(truth: &[usize], found: &[usize], margin: usize) -> Score {
    let mut free = found.to_vec();
    let mut right = 0;
    for change in truth {
        let near = |place: usize| free[place].abs_diff(*change);
        let nearest = (0..free.len()).min_by_key(|place| near(*place));
        if let Some(place) = nearest.filter(|place| near(*place) <= margin) {
            free.remove(place);
            right += 1;
        }
    }
    Score { right, wrong: free.len() }
}

/// The harmonic mean of precision and recall as van den Burg & Williams ("An evaluation of change point detection
/// algorithms", arXiv:2003.06222, section 3.2) define them for several annotators: precision against all that any of
/// them marked, recall as the mean over the annotators; the start of the series counts as a change that all agree on.
pub(crate) fn f1(annotators: &[Vec<usize>], found: &[usize], margin: usize) -> f64 {
    let with_start = |changes: &[usize]| {
        let mut all = [&[0], changes].concat();
        all.sort_unstable();
        all.dedup();
        all
    };
    let found = with_start(found);
    let all = with_start(&annotators.concat());
    let precision = ratio(score(&all, &found, margin).right, found.len());
    let recalls = annotators.iter().map(|own| {
        let own = with_start(own);
        ratio(score(&own, &found, margin).right, own.len())
    });
    let recall = recalls.sum::<f64>() / ratio(annotators.len(), 1);
    2.0 * precision * recall / (precision + recall)
}

#[expect(clippy::cast_precision_loss, reason = "a handful of changes")]
fn ratio(part: usize, whole: usize) -> f64 {
    part as f64 / whole as f64
}
