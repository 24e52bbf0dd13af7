//! How each run of an overlay is drawn, and which of the odd ones are named.

use super::super::columns::Column;
use super::super::parts::Subject;
use super::super::parts::readings::Readings;
use super::MOST_NAMED;

/// How a run is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rank {
    /// As most: in grey.
    Good,
    /// With the colour of that number, and a note.
    Named(usize),
    /// Neither good nor named.
    Odd,
}

/// The rank of each run: named are those that leave the good ones the furthest, but first one of each verdict.
pub(super) fn ranks(runs: &[Subject], odd: &[bool], readings: &[Readings]) -> Vec<Rank> {
    let far = leaves(odd, readings);
    let mut odd_ones: Vec<usize> = (0..runs.len()).filter(|index| odd[*index]).collect();
    odd_ones.sort_by(|a, b| far[*b].total_cmp(&far[*a]));
    let class = |index: &usize| runs[*index].finding.verdict.class;
    let (first, again): (Vec<usize>, Vec<usize>) = odd_ones
        .iter()
        .partition(|index| odd_ones.iter().find(|other| class(other) == class(index)) == Some(*index));
    let mut named: Vec<usize> = first.into_iter().chain(again).take(MOST_NAMED).collect();
    // Letters and colours in the order in which headline and table name them.
    named.sort_unstable();
    let rank = |index: usize| match named.iter().position(|named| *named == index) {
        Some(color) => Rank::Named(color),
        None if odd[index] => Rank::Odd,
        None => Rank::Good,
    };
    (0..runs.len()).map(rank).collect()
}

/// How far each run lies outside the range of the good ones, in amps summed over the columns that show both.
fn leaves(odd: &[bool], readings: &[Readings]) -> Vec<f64> {
    let good: Vec<&Readings> = readings.iter().zip(odd).filter(|(_, odd)| !**odd).map(|(of, _)| of).collect();
    let column = |of: &Readings, index: usize| -> Option<Column> { of.amps.get(index)?.clone() };
    let range = |index: usize| {
        let there = || good.iter().filter_map(|good| column(good, index));
        let low = there().map(|column| column.low).reduce(f64::min)?;
        Some((low, there().map(|column| column.high).reduce(f64::max)?))
    };
    let count = readings.iter().map(|of| of.amps.len()).max().unwrap_or(0);
    let ranges: Vec<Option<(f64, f64)>> = (0..count).map(range).collect();
    let outside = |of: &Readings| {
        let each = ranges.iter().zip(&of.amps).map(|(range, column)| match (range, column) {
            (Some((low, high)), Some(column)) => (low - column.leave).max(column.leave - high).max(0.0),
            _ => 0.0,
        });
        each.sum()
    };
    readings.iter().map(outside).collect()
}
