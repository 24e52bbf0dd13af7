//! The best path through the states into every end.

use super::super::piece::{Piece, Stretch, Sums};
use super::grammar::{Edge, Grammar};
use super::score::{HOPELESS, Look, Scores};
use super::{Progress, State};
use std::cmp::Ordering;

/// A stay in one state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Step {
    pub state: State,
    /// First piece.
    pub from: usize,
    /// One past the last piece.
    pub to: usize,
    /// Whether an attempt ended before it.
    pub rested: bool,
    pub stretch: Stretch,
}

/// A sequence of stays that covers the run.
pub(in super::super) type Path = Vec<Step>;

/// An end that the run may have come to, by its best path.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Ending {
    pub state: State,
    pub progress: Progress,
    pub score: f64,
    pub path: Path,
}

#[derive(Debug, Clone, Copy)]
struct Cell {
    score: f64,
    /// Where the stay that ends here began, and the node before it.
    from: u32,
    before: u32,
}

/// The best way to have ended a stay in `node`: where the stay began, and the node before it.
#[derive(Debug, Clone, Copy)]
struct Way {
    node: u32,
    from: u32,
    before: u32,
}

/// What one piece more may add to the misfit before a path is given up, in nats.
const PER_PIECE: f64 = 1.0;

/// A run of no more pieces than this is searched in full. In a longer one, only so many stays in each state are gone on
/// with side by side, those that their own pieces speak least against, so that time grows with the run and not with its
/// square (histogram pruning, V. Steinbiss, B.-H. Tran, H. Ney, "Improvements in beam search", Proc. ICSLP 1994). What is
/// given up are other beginnings of the same state, in a run where a board has gone up and down hundreds of times.
pub(in super::super) const SIDE_BY_SIDE: usize = 150;

const NONE: u32 = u32::MAX;
const EMPTY: Cell = Cell { score: f64::NEG_INFINITY, from: NONE, before: NONE };

struct Search<'a> {
    scores: &'a Scores<'a>,
    states: Vec<State>,
    /// Steps into each state: (from state, edge).
    into: Vec<Vec<(usize, Edge)>>,
    pieces: &'a [Piece],
    sums: Sums,
    /// Running sums of what each piece says against being no more than [`State::Low`] and [`State::Nothing`], in nats.
    pulses: [Vec<f64>; 2],
    /// Below this a path is not followed further.
    hopeless: f64,
    /// Best way to have ended a stay in each node at the boundary that is looked at.
    ended: Vec<Cell>,
    /// Of those, at each boundary from the first piece's end on, the ways that may be gone on with, by node.
    ways: Vec<Vec<Way>>,
    /// Best way to begin a stay in each node at the boundary that is looked at.
    begun: Vec<Cell>,
    /// [`SIDE_BY_SIDE`], but for tests.
    side_by_side: usize,
}

/// A stay that has begun and may end anywhere.
struct Stay {
    state: State,
    /// The nodes that it can be in, with the best way to have begun it.
    live: Vec<(usize, Cell)>,
    /// Score of the best of them when it began.
    best: f64,
    /// What its pieces say against each other so far, in nats.
    incoherent: f64,
    /// How long the load has been above the ups and downs of its state, up to its last piece.
    high_s: f64,
}

/// The stays that began together.
struct Begun {
    from: usize,
    /// What they have taken in so far, if they have gone on for a piece.
    so_far: Option<Stretch>,
    stays: Vec<Stay>,
}

/// The best path into every end, best first. Empty if there are no pieces.
pub(in super::super) fn search(scores: &Scores, pieces: &[Piece]) -> Vec<Ending> {
    search_beside(scores, pieces, SIDE_BY_SIDE)
}

/// The same with `side_by_side` stays at most in each state.
pub(in super::super) fn search_beside(scores: &Scores, pieces: &[Piece], side_by_side: usize) -> Vec<Ending> {
    if pieces.is_empty() {
        return Vec::new();
    }
    let run = scores.run;
    let grammar = Grammar::new(scores.model, scores.readout.update_s(), run.switch_on_seen, run.duration());
    let hopeful = Search::new(scores, &grammar, pieces, side_by_side).run(&grammar);
    if hopeful.is_empty() {
        // What fits nothing is told as what it fits best: it was fed, and something was read.
        let all =
            Search { hopeless: f64::NEG_INFINITY, ..Search::new(scores, &grammar, pieces, side_by_side) };
        return all.run(&grammar);
    }
    hopeful
}

/// Running sums of `nats` over the pieces, from 0 on.
fn running_sums(pieces: &[Piece], nats: impl Fn(&Piece) -> f64) -> Vec<f64> {
    let running = pieces.iter().scan(0.0, |sum, piece| {
        *sum += nats(piece);
        Some(*sum)
    });
    std::iter::once(0.0).chain(running).collect()
}

impl<'a> Search<'a> {
    fn new(scores: &'a Scores<'a>, grammar: &Grammar, pieces: &'a [Piece], side_by_side: usize) -> Self {
        let states = State::all(scores.model.stages.len());
        let edges_into = |to: &State| {
            let edges =
                states.iter().enumerate().filter_map(|(i, from)| Some((i, grammar.edge(*from, *to)?)));
            edges.collect()
        };
        let into = states.iter().map(edges_into).collect();
        let nodes = states.len() * Progress::COUNT;
        let row = vec![EMPTY; nodes];
        let count = f64::from(u32::try_from(pieces.len()).unwrap_or(u32::MAX));
        Self {
            scores,
            into,
            hopeless: HOPELESS - PER_PIECE * count,
            pieces,
            sums: Sums::of(pieces),
            pulses: [State::Low, State::Nothing]
                .map(|state| running_sums(pieces, |piece| scores.pulse(piece, state))),
            ended: row.clone(),
            ways: Vec::with_capacity(pieces.len()),
            begun: row,
            side_by_side,
            states,
        }
    }

    fn run(mut self, grammar: &Grammar) -> Vec<Ending> {
        self.fill(grammar);
        self.endings()
    }

    fn fill(&mut self, grammar: &Grammar) {
        for (s, state) in self.states.iter().enumerate() {
            if let Some(cost) = grammar.start(*state) {
                self.begun[s * Progress::COUNT] = Cell { score: -cost, ..EMPTY };
            }
        }
        let mut begun = Vec::new();
        for to in 1..=self.pieces.len() {
            begun.push(Begun { from: to - 1, so_far: None, stays: self.stays() });
            self.ended.fill(EMPTY);
            begun.retain_mut(|begun| self.go_on_to(begun, to));
            if to % self.side_by_side == 0 {
                self.give_up_the_worst(&mut begun, to);
            }
            if to < self.pieces.len() {
                self.begin(to);
            }
            self.ways.push(self.ways_here());
        }
    }

    /// The ways to the boundary that is looked at, by node.
    fn ways_here(&self) -> Vec<Way> {
        let reached = self.ended.iter().enumerate().filter(|(_, cell)| cell.score > self.hopeless);
        reached
            .map(|(node, Cell { from, before, .. })| Way { node: index(node), from: *from, before: *before })
            .collect()
    }

    /// The best way to have ended a stay in `node` at boundary `to`.
    fn way(&self, node: usize, to: usize) -> Option<Way> {
        let ways = self.ways.get(to.checked_sub(1)?)?;
        let at = ways.binary_search_by_key(&index(node), |way| way.node).ok()?;
        ways.get(at).copied()
    }

    /// Gives up, of the stays in each state that have come to `to`, all but the most hopeful ones.
    fn give_up_the_worst(&self, begun: &mut Vec<Begun>, to: usize) {
        for state in &self.states {
            let hope = |from: usize, stay: &Stay| (stay.best + self.within(stay, from, to), from);
            let of_state = |stay: &&Stay| stay.state == *state;
            let hopes =
                begun.iter().filter_map(|begun| Some(hope(begun.from, begun.stays.iter().find(of_state)?)));
            let mut hopes: Vec<(f64, usize)> = hopes.collect();
            hopes.sort_unstable_by(more_hopeful);
            let Some(last) = hopes.get(self.side_by_side - 1) else { continue };
            for Begun { from, stays, .. } in begun.iter_mut() {
                stays.retain(|stay| stay.state != *state || more_hopeful(&hope(*from, stay), last).is_le());
            }
        }
        begun.retain(|begun| !begun.stays.is_empty());
    }

    /// The best way to begin a stay in each state at boundary `at`.
    fn begin(&mut self, at: usize) {
        self.begun.fill(EMPTY);
        let step = self.step(at);
        for s in 0..self.states.len() {
            for (before, edge) in &self.into[s] {
                let unmoved = self.scores.unmoved(self.states[*before], self.states[s], step);
                for p in 0..Progress::COUNT {
                    let node = before * Progress::COUNT + p;
                    let progress = Progress::at(p);
                    let score = self.ended[node].score - progress.cost(edge) + unmoved;
                    let to = s * Progress::COUNT + progress.after(edge).index();
                    if score > self.hopeless && score > self.begun[to].score {
                        self.begun[to] = Cell { score, from: index(at), before: index(node) };
                    }
                }
            }
        }
    }

    /// How far the level moves at boundary `at`, as a log; averages over the edge are passed over.
    fn step(&self, at: usize) -> f64 {
        let own_level = |piece: &&Piece| !piece.is_edge();
        let before = self.pieces[..at].iter().rev().take(2).find(own_level).unwrap_or(&self.pieces[at - 1]);
        let after = self.pieces[at..].iter().take(2).find(own_level).unwrap_or(&self.pieces[at]);
        after.level() - before.level()
    }

    /// Every stay that can begin now.
    fn stays(&self) -> Vec<Stay> {
        (0..self.states.len()).filter_map(|s| self.stay(s)).collect()
    }

    /// Takes the piece before `to` into the stays that began together; whether any of them may go on.
    fn go_on_to(&mut self, begun: &mut Begun, to: usize) -> bool {
        let Begun { from, so_far, stays } = begun;
        let (from, piece) = (*from, &self.pieces[to - 1]);
        stays.retain(|stay| !self.scores.rules_out(piece, stay.state, so_far.as_ref()));
        if let Some(so_far) = so_far {
            // The piece before is now in the midst of the stay, unless it is its first.
            let between = (to - from > 2).then(|| &self.pieces[to - 2]);
            self.go_on(stays, piece, so_far, between);
        }
        stays.retain(|stay| stay.best + self.within(stay, from, to) > self.hopeless);
        if stays.is_empty() {
            return false;
        }
        let stretch = self.sums.stretch(from, to);
        let look = self.scores.look(&stretch);
        for stay in stays {
            self.end(stay, &look, from, to);
        }
        *so_far = Some(stretch);
        true
    }

    /// The stay in state `s` that can begin now, if one can.
    fn stay(&self, s: usize) -> Option<Stay> {
        let nodes = s * Progress::COUNT..(s + 1) * Progress::COUNT;
        let live = nodes.map(|node| (node, self.begun[node]));
        let live: Vec<_> = live.filter(|(_, begun)| begun.score > self.hopeless).collect();
        let best = live.iter().map(|(_, begun)| begun.score).max_by(f64::total_cmp)?;
        Some(Stay { state: self.states[s], live, best, incoherent: 0.0, high_s: 0.0 })
    }

    /// Counts what `piece` says against going on from `so_far`, and what `between` says against lying in the midst of it.
    fn go_on(&self, stays: &mut [Stay], piece: &Piece, so_far: &Stretch, between: Option<&Piece>) {
        // A stage says the same of a piece whether or not it is gone through to its end, and these follow each other.
        let mut said: Option<(usize, f64)> = None;
        for stay in stays {
            stay.high_s = self.scores.high_s(piece, so_far, stay.state, stay.high_s);
            let misfit = match (stay.state.stage(), said) {
                (Some(stage), Some((same, misfit))) if stage == same => misfit,
                _ => {
                    let back = between.map_or(0.0, |piece| self.scores.back_in_between(piece, stay.state));
                    self.scores.incoherence(piece, so_far, stay.state, stay.high_s) + back
                }
            };
            said = stay.state.stage().map(|stage| (stage, misfit));
            stay.incoherent += misfit;
        }
    }

    /// What the pieces of a stay say against it by themselves and one after the other, in nats.
    fn within(&self, stay: &Stay, from: usize, to: usize) -> f64 {
        self.pulses_in(stay.state, from, to) + stay.incoherent
    }

    /// Takes it that `stay` ends at `to`, where that beats what is known.
    fn end(&mut self, stay: &Stay, look: &Look, from: usize, to: usize) {
        let within = self.within(stay, from, to);
        // No fit is better than a perfect one: most stays need no closer look.
        let may_beat = |(node, begun): &(usize, Cell)| begun.score + within > self.ended[*node].score;
        if !stay.live.iter().any(may_beat) {
            return;
        }
        let fresh = self.fit(look, stay.state, from, to) + within;
        let rested = match stay.state {
            State::Low | State::Excess => self.scores.score(look, stay.state, from == 0, true) + within,
            _ => fresh,
        };
        debug_assert!(fresh.max(rested) <= within, "{:?} fits better than perfectly", stay.state);
        for (node, begun) in &stay.live {
            let attempts = Progress::at(node % Progress::COUNT).attempts;
            let fit = if attempts > 0 { rested } else { fresh };
            let score = begun.score + fit;
            if score > self.ended[*node].score {
                self.ended[*node] = Cell { score, from: index(from), before: begun.before };
            }
        }
    }

    fn fit(&self, look: &Look, state: State, from: usize, to: usize) -> f64 {
        match state {
            State::Held(j) if to == self.pieces.len() && j != self.scores.model.last() => {
                self.scores.cut_off(look, j)
            }
            _ => self.scores.score(look, state, from == 0, false),
        }
    }

    fn pulses_in(&self, state: State, from: usize, to: usize) -> f64 {
        match state {
            State::Low => self.pulses[0][to] - self.pulses[0][from],
            State::Nothing => self.pulses[1][to] - self.pulses[1][from],
            _ => 0.0,
        }
    }

    fn endings(&self) -> Vec<Ending> {
        let reached = |node: &usize| self.ended[*node].score > self.hopeless;
        // A stage that goes through to its end is followed by another: it is no end of a run.
        let final_state = |node: &usize| !matches!(self.states[node / Progress::COUNT], State::Done(_));
        let nodes = (0..self.states.len() * Progress::COUNT).filter(reached).filter(final_state);
        let mut endings: Vec<Ending> = nodes.map(|node| self.ending(node)).collect();
        endings.sort_by(|a, b| b.score.total_cmp(&a.score));
        endings
    }

    fn ending(&self, node: usize) -> Ending {
        Ending {
            state: self.states[node / Progress::COUNT],
            progress: Progress::at(node % Progress::COUNT),
            score: self.ended[node].score,
            path: self.path(node),
        }
    }

    fn path(&self, node: usize) -> Path {
        let (mut next, mut to) = (index(node), self.pieces.len());
        let mut path = Vec::new();
        while next != NONE && to > 0 {
            let node = next as usize;
            let Some(way) = self.way(node, to) else { break };
            let from = way.from as usize;
            path.push(Step {
                state: self.states[node / Progress::COUNT],
                from,
                to,
                rested: Progress::at(node % Progress::COUNT).attempts > 0,
                stretch: self.sums.stretch(from, to),
            });
            (next, to) = (way.before, from);
        }
        path.reverse();
        path
    }
}

/// Better scores first, and of equal ones the stay that began first.
fn more_hopeful((one, from): &(f64, usize), (other, other_from): &(f64, usize)) -> Ordering {
    other.total_cmp(one).then(from.cmp(other_from))
}

/// The index of a piece or node, which there are far fewer of than 32 bits can count.
fn index(of: usize) -> u32 {
    u32::try_from(of).unwrap_or(NONE)
}
