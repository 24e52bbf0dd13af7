//! Where the last segment of each optimum so far begins.
//!
//! It is the same for as long as a segment goes on, so it is kept once for every row of samples that agree.

/// For each number of samples from 1: where the last segment of their optimum begins.
#[derive(Debug, Clone, Default)]
pub(super) struct Leaders {
    count: usize,
    /// First index (a number of samples, less 1) of every row of equal leaders, and the leader.
    rows: Vec<(u32, u32)>,
}

impl Leaders {
    /// Adds the same leader for some more samples.
    pub(super) fn extend(&mut self, leader: u32, samples: usize) {
        if self.last() != Some(leader) {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "`admit` refuses more than u32::MAX samples"
            )]
            self.rows.push((self.count as u32, leader));
        }
        self.count += samples;
    }

    /// Forgets all but the first `count` samples.
    pub(super) fn truncate(&mut self, count: usize) {
        self.count = count;
        while self.rows.last().is_some_and(|(first, _)| *first as usize >= count) {
            self.rows.pop();
        }
    }

    /// How many samples there are.
    pub(super) fn len(&self) -> usize {
        self.count
    }

    /// The leader after all samples.
    pub(super) fn last(&self) -> Option<u32> {
        self.rows.last().map(|(_, leader)| *leader)
    }

    /// The leader after the first `samples` samples; `None` of none.
    pub(super) fn after(&self, samples: usize) -> Option<u32> {
        let row = self.rows.partition_point(|(first, _)| (*first as usize) < samples);
        Some(self.rows.get(row.checked_sub(1)?)?.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn rows_tell_what_one_a_sample_would(
            given in prop::collection::vec((0_u32..4, 1_usize..5), 1..30),
            kept in 0.0..1.0_f64,
        ) {
            let (mut leaders, mut plain) = (Leaders::default(), Vec::new());
            for (leader, samples) in given {
                leaders.extend(leader, samples);
                plain.resize(plain.len() + samples, leader);
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "a share")]
            let kept = (kept * plain.len() as f64) as usize;
            for count in [plain.len(), kept] {
                leaders.truncate(count);
                plain.truncate(count);
                prop_assert_eq!((leaders.len(), leaders.last()), (count, plain.last().copied()));
                for samples in 0..=count {
                    let expected = samples.checked_sub(1).map(|index| plain[index]);
                    prop_assert_eq!(leaders.after(samples), expected);
                }
            }
        }
    }
}
