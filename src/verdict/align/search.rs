//! The best path through the states into every end.

use super::super::piece::{Piece, Stretch, Sums};
use super::grammar::{Edge, Grammar};
use super::score::{HOPELESS, Scores};
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
    from: usize,
    before: usize,
}

/// What one piece more may add to the misfit before a path is given up, in nats.
const PER_PIECE: f64 = 1.0;

const NONE: usize = usize::MAX;
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
    /// Best way to begin a stay in each node at each boundary.
    begun: Vec<Vec<Cell>>,
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

fn pulses(scores: &Scores, pieces: &[Piece], state: State) -> Vec<f64> {
    let each = pieces.iter().map(|piece| scores.pulse(piece, state));
    let running = each.scan(0.0, |sum, pulse| {
        *sum += pulse;
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
            pulses: [State::Low, State::Nothing].map(|state| pulses(scores, pieces, state)),
            ended: vec![row.clone(); pieces.len() + 1],
            begun: vec![row; pieces.len() + 1],
            states,
        }
    }

    fn fill(&mut self, grammar: &Grammar) {
        for (s, state) in self.states.iter().enumerate() {
            if let Some(cost) = grammar.start(*state) {
                self.begun[0][s * Progress::COUNT] = Cell { score: -cost, ..EMPTY };
            }
        }
        for from in 0..self.pieces.len() {
            if from > 0 {
                self.begin(from);
            }
            for s in 0..self.states.len() {
                self.stay(from, s);
            }
        }
    }

    /// The best way to begin a stay in each state at boundary `at`.
    fn begin(&mut self, at: usize) {
        for s in 0..self.states.len() {
            for (before, edge) in &self.into[s] {
                for p in 0..Progress::COUNT {
                    let node = before * Progress::COUNT + p;
                    let progress = Progress::at(p);
                    let score = self.ended[at][node].score - edge.cost * progress.cost_share();
                    let to = s * Progress::COUNT + progress.after(edge).index();
                    if score > self.hopeless && score > self.begun[at][to].score {
                        self.begun[at][to] = Cell { score, from: at, before: node };
                    }
                }
            }
        }
    }

    /// Every stay in state `s` that begins at piece `from`.
    fn stay(&mut self, from: usize, s: usize) {
        let state = self.states[s];
        let nodes = s * Progress::COUNT..(s + 1) * Progress::COUNT;
        let live: Vec<usize> = nodes.filter(|node| self.begun[from][*node].score > self.hopeless).collect();
        if live.is_empty() {
            return;
        }
        let mut incoherent = 0.0;
        for to in from + 1..=self.pieces.len() {
            let so_far = (to > from + 1).then(|| self.sums.stretch(from, to - 1));
            if self.scores.rules_out(&self.pieces[to - 1], state, so_far.as_ref()) {
                break;
            }
            incoherent +=
                so_far.map_or(0.0, |so_far| self.scores.incoherence(&self.pieces[to - 1], &so_far, state));
            let stretch = self.sums.stretch(from, to);
            let within = self.pulses_in(state, from, to) + incoherent;
            let fresh = self.fit(&stretch, state, from, to) + within;
            let rested = match state {
                State::Low => self.scores.score(&stretch, state, from == 0, true) + within,
                _ => fresh,
            };
            for node in &live {
                let attempts = Progress::at(node % Progress::COUNT).attempts;
                let fit = if attempts > 0 { rested } else { fresh };
                let score = self.begun[from][*node].score + fit;
                if score > self.ended[to][*node].score {
                    self.ended[to][*node] = Cell { score, from, before: self.begun[from][*node].before };
                }
            }
        }
    }

    fn fit(&self, stretch: &Stretch, state: State, from: usize, to: usize) -> f64 {
        match state {
            State::Held(j) if to == self.pieces.len() && j != self.scores.model.last() => {
                self.scores.cut_off(stretch, j)
            }
            _ => self.scores.score(stretch, state, from == 0, false),
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
        let (mut node, mut to) = (node, self.pieces.len());
        let mut path = Vec::new();
        while node != NONE && to > 0 {
            let cell = self.ended[to][node];
            path.push(Step {
                state: self.states[node / Progress::COUNT],
                from: cell.from,
                to,
                rested: Progress::at(node % Progress::COUNT).attempts > 0,
                stretch: self.sums.stretch(cell.from, to),
            });
            (node, to) = (cell.before, cell.from);
        }
        path.reverse();
        path
    }
}
