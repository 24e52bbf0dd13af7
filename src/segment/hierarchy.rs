//! Stages from fine segments.

/// Sum of squares about the mean of any stretch, in constant time.
struct Squares {
    sum: Vec<f64>,
    square: Vec<f64>,
}

impl Squares {
    fn of(values: &[f64]) -> Self {
        let mut squares = Self { sum: vec![0.0], square: vec![0.0] };
        let (mut sum, mut square) = (0.0, 0.0);
        for value in values {
            sum += value;
            square += value * value;
            squares.sum.push(sum);
            squares.square.push(square);
        }
        squares
    }

    fn about_mean(&self, start: usize, end: usize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a count of samples in memory is below 2^53")]
        let count = (end - start) as f64;
        let sum = self.sum[end] - self.sum[start];
        (self.square[end] - self.square[start] - sum * sum / count).max(0.0)
    }
}

/// Drops changes, the least worth first, until every stretch lasts `shortest` seconds and every change is worth a
/// stage.
pub(super) fn merge(
    values: &[f64],
    time: &[f64],
    changes: &[usize],
    shortest: f64,
    penalty: f64,
) -> Vec<usize> {
    let squares = Squares::of(values);
    let mut bounds: Vec<usize> = [&[0], changes, &[values.len()]].concat();
    let lasts = |start: usize, end: usize| time[end.min(time.len() - 1)] - time[start];
    while bounds.len() > 2 {
        let worth = |at: usize| {
            let (start, middle, end) = (bounds[at - 1], bounds[at], bounds[at + 1]);
            let saved = squares.about_mean(start, end)
                - squares.about_mean(start, middle)
                - squares.about_mean(middle, end);
            let short = lasts(start, middle) < shortest || lasts(middle, end) < shortest;
            (!short, saved)
        };
        let least = (1..bounds.len() - 1)
            .map(|at| (at, worth(at)))
            .min_by(|a, b| a.1.0.cmp(&b.1.0).then(a.1.1.total_cmp(&b.1.1)));
        match least {
            Some((at, (long, saved))) if !long || saved < STAGE_WORTH * penalty => {
                bounds.remove(at);
            }
            _ => break,
        }
    }
    bounds[1..bounds.len() - 1].to_vec()
}

/// How many times the penalty of a fine change a change must save to begin a stage.
const STAGE_WORTH: f64 = 4.0;
