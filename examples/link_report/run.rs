//! A recording against the truth.

use crate::{Result, SAME, count};
use feedtale::capture::{
    Pace, Plan, Reading, RealClock, Report, Saved, Session, Settings, Source, SupplySource, Trouble,
    elsewhere, settings_of,
};
use feedtale::link::Address;
use feedtale::simulator::{
    BoardModel, Case, Exchange, Operator, Record, Scenario, Server, Setup, SupplyKind,
};
use feedtale::supply::{Dialect, Supply};
use feedtale::trace::{self, EventKind, Header, Trace};
use feedtale::units::Seconds;
use std::net::TcpListener;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

/// A sound board on a fast supply whose output comes on early.
pub(crate) fn setup() -> Result<Setup> {
    let supply = SupplyKind::named("bench-fast").ok_or("no supply bench-fast")?;
    let mut scenario = Scenario::new(BoardModel::named("kiln-24")?, Case::FullBoot, supply, 1, 1);
    scenario.operator = Operator { on_s: Some(0.2), ..Operator::default() };
    Ok(Setup { rewind_s: None, ..Setup::new(scenario) })
}

pub(crate) fn tcp(setup: Setup) -> Result<Server> {
    Ok(Server::tcp(setup, TcpListener::bind("127.0.0.1:0")?)?)
}

/// Notes when each understood answer was asked for and in.
struct Noted {
    source: SupplySource,
    spans: Arc<Mutex<Vec<(Instant, Instant)>>>,
}

impl Source for Noted {
    fn read(&mut self) -> std::result::Result<Reading, Trouble> {
        let reading = self.source.read()?;
        let mut spans = self.spans.lock().unwrap_or_else(PoisonError::into_inner);
        spans.push((reading.asked, reading.answered));
        Ok(reading)
    }

    fn settings(&mut self) -> std::result::Result<Settings, Trouble> {
        self.source.settings()
    }

    fn reopen(&mut self) -> std::result::Result<(), Trouble> {
        self.source.reopen()
    }
}

/// A run that is over.
pub(crate) struct Run {
    pub(crate) name: String,
    pub(crate) report: Report,
    pub(crate) log: Trace,
    spans: Vec<(Instant, Instant)>,
    truth: Record,
}

/// Records for that many log seconds, as fast as the wire carries.
pub(crate) fn record(name: &str, server: Server, seconds: f64) -> Result<Run> {
    record_also_at(name, server, seconds, Vec::new())
}

/// The same, for a supply that may come back at another place.
pub(crate) fn record_also_at(name: &str, server: Server, seconds: f64, also: Vec<Address>) -> Result<Run> {
    let address: Address = server.address().parse()?;
    let mut supply = Supply::open(&address, Dialect::plain())?;
    supply.identify()?;
    let settings = settings_of(&mut supply)?;
    let places = elsewhere(&supply, also);
    let spans = Arc::<Mutex<Vec<_>>>::default();
    let source = Noted { source: SupplySource::looking(supply, places), spans: Arc::clone(&spans) };
    let folder = tempfile::tempdir()?;
    let plan = Plan {
        header: Header::default(),
        wall: (Instant::now(), chrono::Local::now().fixed_offset()),
        speed: address.speed().unwrap_or(1.0),
        pace: Pace::AsFastAsTheWire,
        length: Some(Seconds::new(seconds)?),
        until: Vec::new(),
        marks: Vec::new(),
        places: vec![folder.path().join("run.csv")],
        settings,
        drive: None,
    };
    let report = Session::start(Box::new(source), plan, Arc::new(RealClock))?.finish();
    let truth = server.stop()?;
    let Saved::At(path) = &report.saved else { return Err(format!("{name}: no log: {report:?}").into()) };
    let log = trace::read_file(path)?.trace;
    let spans = spans.lock().unwrap_or_else(PoisonError::into_inner).clone();
    Ok(Run { name: name.to_owned(), report, log, spans, truth })
}

impl Run {
    /// The one measurement that the supply took within the exchange of sample `index`.
    fn taken(&self, index: usize) -> Option<&Exchange> {
        let (asked, answered) = *self.spans.get(index)?;
        let first = self.truth.exchanges.partition_point(|taken| taken.at < asked);
        self.truth.exchanges.get(first).filter(|taken| taken.at <= answered)
    }

    /// Whether sample `index` is what the supply showed within its own exchange.
    pub(crate) fn is_true(&self, index: usize) -> bool {
        self.taken(index).is_some_and(|taken| {
            (self.log.volts()[index] - taken.reading.volts).abs() < SAME
                && (self.log.amps()[index] - taken.reading.amps).abs() < SAME
        })
    }

    /// How far the stamp of sample `index` is off, and half of its span, in log seconds that are real seconds.
    pub(crate) fn stamp_error(&self, index: usize) -> Option<(f64, f64)> {
        let (asked, answered) = *self.spans.first()?;
        let zero = asked + (answered - asked) / 2;
        let at = self.taken(index)?.at;
        let after = at.saturating_duration_since(zero).as_secs_f64();
        let before = zero.saturating_duration_since(at).as_secs_f64();
        let error = (self.log.time()[index] - (after - before)).abs();
        Some((error, self.log.span(index)?.value() / 2.0))
    }

    pub(crate) fn count(&self, kind: &EventKind) -> usize {
        self.log.events().iter().filter(|event| event.kind == *kind).count()
    }

    /// Bytes of a reply, on average.
    pub(crate) fn reply_bytes(&self) -> f64 {
        let length =
            |taken: &Exchange| format!("{:.4};{:.4}\n", taken.reading.volts, taken.reading.amps).len();
        count(self.truth.exchanges.iter().map(length).sum()) / count(self.truth.exchanges.len().max(1))
    }
}
