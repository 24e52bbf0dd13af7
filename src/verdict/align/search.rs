//! The best path through the states into every end.

use super::super::piece::{Piece, Stretch, Sums};
use super::grammar::{Edge, Grammar};
use super::score::{HOPELESS, Look, Scores};
use super::{Progress, State};

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

/// What one piece more may add to the misfit before a path is given up, in nats.
const PER_PIECE: f64 = 1.0;

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
    /// Best way to have ended a stay in each node at each boundary.
    ended: Vec<Vec<Cell>>,
    /// Best way to begin a stay in each node at the boundary that is looked at.
    begun: Vec<Cell>,
}

/// A stay that has begun and may end anywhere.
struct Stay {
    state: State,
    /// The nodes that it can be in.
    live: Vec<usize>,
    /// Score of the best of them when it began.
    best: f64,
    /// What its pieces say against each other so far, in nats.
    incoherent: f64,
}

/// The best path into every end, best first. Empty if there are no pieces.
pub(in super::super) fn search(scores: &Scores, pieces: &[Piece]) -> Vec<Ending> {
    if pieces.is_empty() {
        return Vec::new();
    }
    let grammar = Grammar::new(scores.model, scores.readout.update_s(), scores.run.switch_on_seen);
    let mut search = Search::new(scores, &grammar, pieces);
    search.fill(&grammar);
    search.endings()
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
    fn new(scores: &'a Scores<'a>, grammar: &Grammar, pieces: &'a [Piece]) -> Self {
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
            ended: vec![row.clone(); pieces.len() + 1],
            begun: row,
            states,
        }
    }

    fn fill(&mut self, grammar: &Grammar) {
        for (s, state) in self.states.iter().enumerate() {
            if let Some(cost) = grammar.start(*state) {
                self.begun[s * Progress::COUNT] = Cell { score: -cost, ..EMPTY };
            }
        }
        for from in 0..self.pieces.len() {
            if from > 0 {
                self.begin(from);
            }
            self.stays(from);
        }
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
                    let score = self.ended[at][node].score - progress.cost(edge) + unmoved;
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

    /// Every stay that begins at piece `from`.
    fn stays(&mut self, from: usize) {
        let mut stays: Vec<Stay> = (0..self.states.len()).filter_map(|s| self.stay(s)).collect();
        let mut so_far: Option<Stretch> = None;
        for to in from + 1..=self.pieces.len() {
            let piece = &self.pieces[to - 1];
            stays.retain(|stay| !self.scores.rules_out(piece, stay.state, so_far.as_ref()));
            if let Some(so_far) = &so_far {
                // The piece before is now in the midst of the stay, unless it is its first.
                let between = (to - from > 2).then(|| &self.pieces[to - 2]);
                self.go_on(&mut stays, piece, so_far, between);
            }
            stays.retain(|stay| stay.best + self.within(stay, from, to) > self.hopeless);
            if stays.is_empty() {
                break;
            }
            let stretch = self.sums.stretch(from, to);
            let look = self.scores.look(&stretch);
            for stay in &stays {
                self.end(stay, &look, from, to);
            }
            so_far = Some(stretch);
        }
    }

    /// The stay in state `s` that can begin now, if one can.
    fn stay(&self, s: usize) -> Option<Stay> {
        let nodes = s * Progress::COUNT..(s + 1) * Progress::COUNT;
        let live: Vec<usize> = nodes.filter(|node| self.begun[*node].score > self.hopeless).collect();
        let best = live.iter().map(|node| self.begun[*node].score).max_by(f64::total_cmp)?;
        Some(Stay { state: self.states[s], live, best, incoherent: 0.0 })
    }

    /// Counts what `piece` says against going on from `so_far`, and what `between` says against lying in the midst of it.
    fn go_on(&self, stays: &mut [Stay], piece: &Piece, so_far: &Stretch, between: Option<&Piece>) {
        // A stage says the same of a piece whether or not it is gone through to its end, and these follow each other.
        let mut said: Option<(usize, f64)> = None;
        for stay in stays {
            let misfit = match (stay.state.stage(), said) {
                (Some(stage), Some((same, misfit))) if stage == same => misfit,
                _ => {
                    let back = between.map_or(0.0, |piece| self.scores.back_in_between(piece, stay.state));
                    self.scores.incoherence(piece, so_far, stay.state) + back
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
        let may_beat = |node: &usize| self.begun[*node].score + within > self.ended[to][*node].score;
        if !stay.live.iter().any(may_beat) {
            return;
        }
        let fresh = self.fit(look, stay.state, from, to) + within;
        let rested = match stay.state {
            State::Low | State::Excess => self.scores.score(look, stay.state, from == 0, true) + within,
            _ => fresh,
        };
        debug_assert!(fresh.max(rested) <= within, "{:?} fits better than perfectly", stay.state);
        for node in &stay.live {
            let attempts = Progress::at(node % Progress::COUNT).attempts;
            let fit = if attempts > 0 { rested } else { fresh };
            let Cell { score, before, .. } = self.begun[*node];
            let score = score + fit;
            if score > self.ended[to][*node].score {
                self.ended[to][*node] = Cell { score, from: index(from), before };
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
        let last = self.pieces.len();
        let reached = |node: &usize| self.ended[last][*node].score > self.hopeless;
        // A stage that goes through to its end is followed by another: it is no end of a run.
        let final_state = |node: &usize| !matches!(self.states[node / Progress::COUNT], State::Done(_));
        let nodes = (0..self.states.len() * Progress::COUNT).filter(reached).filter(final_state);
        let mut endings: Vec<Ending> = nodes.map(|node| self.ending(node)).collect();
        endings.sort_by(|a, b| b.score.total_cmp(&a.score));
        endings
    }

    fn ending(&self, node: usize) -> Ending {
        let last = self.pieces.len();
        Ending {
            state: self.states[node / Progress::COUNT],
            progress: Progress::at(node % Progress::COUNT),
            score: self.ended[last][node].score,
            path: self.path(node),
        }
    }

    fn path(&self, node: usize) -> Path {
        let (mut next, mut to) = (index(node), self.pieces.len());
        let mut path = Vec::new();
        while next != NONE && to > 0 {
            let node = next as usize;
            let cell = self.ended[to][node];
            let from = cell.from as usize;
            path.push(Step {
                state: self.states[node / Progress::COUNT],
                from,
                to,
                rested: Progress::at(node % Progress::COUNT).attempts > 0,
                stretch: self.sums.stretch(from, to),
            });
            (next, to) = (cell.before, from);
        }
        path.reverse();
        path
    }
}

/// The index of a piece or node, which there are far fewer of than 32 bits can count.
fn index(of: usize) -> u32 {
    u32::try_from(of).unwrap_or(NONE)
}
