//! What truly happened at the simulated bench, as CSV.
//!
//! `bench_s,what,detail`: bench seconds from the first measurement; what is `output-on`, `output-off`, `press`,
//! `state` (detail: the board's new state) or `reading` (detail: volts, amps and mode as the supply showed them at the
//! moment at which it took the answer from its display). A line `# rewound` says that the run begins again.

use crate::cli::Failure;
use crate::simulator::{Exchange, Record, Server, Truth, TruthEvent};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// The file, and how much of the record is in it.
#[derive(Debug)]
pub(super) struct File {
    path: PathBuf,
    out: BufWriter<std::fs::File>,
    events: usize,
    exchanges: usize,
    rewinds: usize,
}

impl File {
    /// A new file; one that is there already is not overwritten.
    pub(super) fn create(path: &Path) -> Result<Self, Failure> {
        let fail = |error: std::io::Error| Failure::Input(format!("{}: {error}", path.display()));
        let file = std::fs::File::create_new(path).map_err(fail)?;
        let mut out = BufWriter::new(file);
        writeln!(out, "bench_s,what,detail").map_err(fail)?;
        Ok(Self { path: path.to_owned(), out, events: 0, exchanges: 0, rewinds: 0 })
    }

    /// Adds what happened since the last call.
    pub(super) fn write(&mut self, server: &Server) -> Result<(), Failure> {
        let (lines, rewound) = server.look(|record| self.new_lines(record));
        let mut text = if rewound { "# rewound\n".to_owned() } else { String::new() };
        text.extend(lines.into_iter().map(|(_, line)| line));
        self.out
            .write_all(text.as_bytes())
            .and_then(|()| self.out.flush())
            .map_err(|error| Failure::Input(format!("{}: {error}", self.path.display())))
    }

    fn new_lines(&mut self, record: &Record) -> (Vec<(f64, String)>, bool) {
        let rewound = record.rewinds != self.rewinds;
        if rewound {
            (self.events, self.exchanges, self.rewinds) = (0, 0, record.rewinds);
        }
        let events = record.events[self.events..].iter().map(|event| (event.at_s, event_line(event)));
        let readings = record.exchanges[self.exchanges..].iter().map(|e| (e.bench_s, reading_line(e)));
        let mut lines: Vec<(f64, String)> = events.chain(readings).collect();
        lines.sort_by(|a, b| a.0.total_cmp(&b.0));
        (self.events, self.exchanges) = (record.events.len(), record.exchanges.len());
        (lines, rewound)
    }
}

fn event_line(event: &TruthEvent) -> String {
    let (what, detail) = match &event.what {
        Truth::OutputOn => ("output-on", ""),
        Truth::OutputOff => ("output-off", ""),
        Truth::Press => ("press", ""),
        Truth::State(name) => ("state", name.as_str()),
    };
    format!("{:.3},{what},{detail}\n", event.at_s)
}

fn reading_line(exchange: &Exchange) -> String {
    let shown = exchange.reading;
    format!("{:.6},reading,{:.4} {:.4} {}\n", exchange.bench_s, shown.volts, shown.amps, shown.mode.name())
}
