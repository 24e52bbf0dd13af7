//! Stretches: runs of whole pieces, summed up.

use super::Piece;

/// Every piece has some weight, so that a stretch of edges has a level too.
const LEAST_WEIGHT: f64 = 1e-3;

/// A run of whole pieces, summed up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Stretch {
    pub start_s: f64,
    pub end_s: f64,
    pub watts: f64,
    pub amps: f64,
    pub volts: f64,
    pub sag: f64,
    pub dip: f64,
    pub limit: f64,
    /// Standard deviation of power over the stretch, in watts.
    pub spread_w: f64,
    /// Independent looks at levels of their own that its pieces make up.
    pub levels: f64,
    /// Mean log of the power over the noise floor, by these.
    pub level: f64,
}

impl Stretch {
    pub(in crate::verdict) fn duration(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// Running sums over pieces, so that any stretch is had at once.
#[derive(Debug, Clone)]
pub(in crate::verdict) struct Sums {
    rows: Vec<[f64; 10]>,
    starts: Vec<f64>,
    end_s: f64,
}

impl Sums {
    pub(in crate::verdict) fn of(pieces: &[Piece]) -> Self {
        let mut rows = vec![[0.0; 10]];
        let mut total = [0.0; 10];
        for piece in pieces {
            let d = piece.duration().max(1e-9);
            let row =
                [1.0, piece.watts, piece.amps, piece.volts, piece.sag, piece.dip, piece.limit, piece.square];
            let (w, x) = (piece.weight.max(LEAST_WEIGHT) * piece.looks(), piece.level);
            let summands = row.into_iter().map(|value| d * value).chain([w, w * x]);
            for (sum, summand) in total.iter_mut().zip(summands) {
                *sum += summand;
            }
            rows.push(total);
        }
        let starts = pieces.iter().map(|piece| piece.start_s).collect();
        Self { rows, starts, end_s: pieces.last().map_or(0.0, |piece| piece.end_s) }
    }

    /// The stretch of pieces `from..to`; `from < to`.
    pub(in crate::verdict) fn stretch(&self, from: usize, to: usize) -> Stretch {
        let mut sums = self.rows[to];
        for (sum, before) in sums.iter_mut().zip(self.rows[from]) {
            *sum -= before;
        }
        let [d, watts, amps, volts, sag, dip, limit, square, levels, x] = sums;
        let d = d.max(1e-9);
        Stretch {
            start_s: self.starts[from],
            end_s: self.starts.get(to).copied().unwrap_or(self.end_s),
            watts: watts / d,
            amps: amps / d,
            volts: volts / d,
            sag: (sag / d).clamp(0.0, 1.0),
            dip: (dip / d).clamp(0.0, 1.0),
            limit: (limit / d).clamp(0.0, 1.0),
            spread_w: (square / d - (watts / d).powi(2)).max(0.0).sqrt(),
            levels,
            level: x / levels.max(1e-9),
        }
    }
}
