//! Where within a try that shows no stages each of them begins: where the readings go from the level of one to the next's.

/// No reading counts as less than this share of the lowest level: nothing at all would be infinitely far from it.
const LEAST: f64 = 0.1;

/// For each of `levels`, in their order, the index of the reading with which it begins, such that the readings are as near
/// to the levels as can be, by their ratios; one that the readings do not show begins where the next does. Each way is the
/// best of those to be at its level by now (Bellman 1957, dynamic programming).
pub(super) fn begins(read: &[f64], levels: &[f64]) -> Vec<usize> {
    let least = LEAST * levels.iter().copied().fold(f64::INFINITY, f64::min);
    let far = |amps: f64, level: f64| (amps.max(least) / level).ln().abs();
    let mut ways: Vec<(f64, Vec<usize>)> = (1..=levels.len()).map(|count| (0.0, vec![0; count])).collect();
    for (index, amps) in read.iter().enumerate() {
        for next in 1..ways.len() {
            if ways[next - 1].0 < ways[next].0 {
                let (cost, mut begins) = ways[next - 1].clone();
                begins.push(index);
                ways[next] = (cost, begins);
            }
        }
        for ((cost, _), level) in ways.iter_mut().zip(levels) {
            *cost += far(*amps, *level);
        }
    }
    ways.pop().map(|(_, begins)| begins).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_begins_where_the_readings_reach_it() {
        let read = [0.2, 0.24, 0.35, 0.7, 0.68, 0.3, 0.71, 1.1, 1.0];
        assert_eq!(begins(&read, &[0.24, 0.7, 1.0]), [0, 3, 7], "a single low reading is no step back");
        assert_eq!(begins(&read[3..7], &[0.24, 0.7]), [0, 0], "what is not shown has no length");
        assert_eq!(begins(&read[..3], &[0.24, 0.7]), [0, 2], "the last is what the try ends in");
        assert_eq!(begins(&[], &[0.24, 0.7]), [0, 0]);
        assert!(begins(&read, &[]).is_empty());
    }
}
