//! Everything that is sent to a supply, heard by a device-side parser written by others: the crate `scpi`, which
//! implements SCPI-1999 and IEEE 488.2. It knows the commands below and refuses what it does not understand.

use feedtale::link::{Link, memory};
use feedtale::supply::guard::{Bounds, Feed, Guard, OffOutcome, Permission, Request};
use feedtale::supply::{Dialect, Supply};
use feedtale::units::{Amps, Volts};
use proptest::prelude::*;
use scpi::error::Result as Outcome;
use scpi::tree::prelude::{Command, Context, Device, Error, ErrorCode, Node, Parameters, ResponseUnit};
use std::collections::{BTreeMap, VecDeque};
use std::io::{BufRead, BufReader, Write};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// SCPI-1999 vol. 2, 21.8.9 (from memory): the header is none that the device has.
const UNDEFINED_HEADER: i16 = -113;
/// The same: more parameters than the header takes.
const PARAMETER_NOT_ALLOWED: i16 = -108;

/// Where a dialect departs from the standard on purpose: dialect, message, how a standard device answers.
/// `console` has its output named by a parameter of each query; the standard has numeric suffixes and channel lists.
const DEPARTURES: [(&str, &str, i16); 4] = [
    ("console", "CURR? CH1", PARAMETER_NOT_ALLOWED),
    ("console", "MEAS:CURR? CH1", PARAMETER_NOT_ALLOWED),
    ("console", "MEAS:VOLT? CH1", PARAMETER_NOT_ALLOWED),
    ("console", "VOLT? CH1", PARAMETER_NOT_ALLOWED),
];

/// A supply that remembers what it was set to.
#[derive(Default)]
struct Instrument {
    values: BTreeMap<&'static str, f64>,
    errors: VecDeque<Error>,
    heard: Vec<String>,
    refused: Vec<(String, i16)>,
}

impl Device for Instrument {
    fn handle_error(&mut self, error: Error) {
        self.errors.push_back(error);
    }
}

impl Instrument {
    fn value(&self, name: &str) -> f64 {
        self.values.get(name).copied().unwrap_or_default()
    }

    fn hear(&mut self, message: &str) -> Vec<u8> {
        self.heard.push(message.to_owned());
        let mut reply = Vec::new();
        match ROOT.run(message.as_bytes(), self, &mut Context::default(), &mut reply) {
            Ok(()) => reply,
            Err(error) => {
                self.refused.push((message.to_owned(), error.get_code()));
                Vec::new()
            }
        }
    }
}

/// A number that can be set and asked for.
struct Number(&'static str);

impl Command<Instrument> for Number {
    fn event(&self, device: &mut Instrument, _: &mut Context, mut given: Parameters) -> Outcome<()> {
        device.values.insert(self.0, given.next_data()?);
        Ok(())
    }
    fn query(
        &self,
        device: &mut Instrument,
        _: &mut Context,
        _: Parameters,
        mut reply: ResponseUnit,
    ) -> Outcome<()> {
        reply.data(device.value(self.0)).finish()
    }
}

/// On or off.
struct Switch(&'static str);

impl Command<Instrument> for Switch {
    fn event(&self, device: &mut Instrument, _: &mut Context, mut given: Parameters) -> Outcome<()> {
        let on: bool = given.next_data()?;
        device.values.insert(self.0, f64::from(u8::from(on)));
        Ok(())
    }
    fn query(
        &self,
        device: &mut Instrument,
        _: &mut Context,
        _: Parameters,
        mut reply: ResponseUnit,
    ) -> Outcome<()> {
        reply.data(device.value(self.0) > 0.0).finish()
    }
}

/// The number of the selected output.
struct Selected;

impl Command<Instrument> for Selected {
    fn event(&self, device: &mut Instrument, _: &mut Context, mut given: Parameters) -> Outcome<()> {
        let number: u8 = given.next_data()?;
        device.values.insert("output number", number.into());
        Ok(())
    }
    fn query(
        &self,
        device: &mut Instrument,
        _: &mut Context,
        _: Parameters,
        mut reply: ResponseUnit,
    ) -> Outcome<()> {
        // The number of an output is a whole one (NR1).
        let number = if device.value("output number") > 1.0 { 2_u8 } else { 1 };
        reply.data(number).finish()
    }
}

/// What only acts.
struct Act;

impl Command<Instrument> for Act {
    fn event(&self, _: &mut Instrument, _: &mut Context, _: Parameters) -> Outcome<()> {
        Ok(())
    }
}

/// What is only asked for.
struct Asked(fn(&mut Instrument, ResponseUnit) -> Outcome<()>);

impl Command<Instrument> for Asked {
    fn query(
        &self,
        device: &mut Instrument,
        _: &mut Context,
        _: Parameters,
        reply: ResponseUnit,
    ) -> Outcome<()> {
        (self.0)(device, reply)
    }
}

const IDENTITY: Asked = Asked(|_, mut reply| reply.data(&b"invented"[..]).data(&b"supply"[..]).finish());
const REGISTER: Asked = Asked(|_, mut reply| reply.data(0_u8).finish());
const NEXT_ERROR: Asked = Asked(|device, mut reply| {
    let next = device.errors.pop_front().unwrap_or_else(|| ErrorCode::NoError.into());
    reply.data(next).finish()
});
const MEASURED_VOLTS: Asked = Asked(|device, mut reply| reply.data(device.value("volts")).finish());
const MEASURED_AMPS: Asked = Asked(|_, mut reply| reply.data(MEASURED).finish());
const MEASURED_ALL: Asked =
    Asked(|device, mut reply| reply.data(device.value("volts")).data(MEASURED).data(0.5_f64).finish());

/// The amps that the instrument measures.
const MEASURED: f64 = 0.25;

type Tree = Node<'static, Instrument>;

const fn leaf(name: &'static [u8], handler: &'static dyn Command<Instrument>) -> Tree {
    Node::leaf(name, handler)
}

/// `:HEADer[:LEVel][:IMMediate][:AMPLitude]` and `:HEADer:PROTection[:LEVel]` (SCPI-1999 vol. 2, `SOURce`).
macro_rules! level {
    ($name:literal, $value:literal, $protection:literal) => {
        Node::branch(
            $name,
            &[
                Node::default_branch(
                    b"LEVel",
                    &[Node::default_branch(
                        b"IMMediate",
                        &[Node::default_leaf(b"AMPLitude", &Number($value))],
                    )],
                ),
                Node::branch(b"PROTection", &[Node::default_leaf(b"LEVel", &Number($protection))]),
            ],
        )
    };
}
const VOLTAGE: Tree = level!(b"VOLTage", "volts", "over-volts");
const CURRENT: Tree = level!(b"CURRent", "limit", "over-amps");

const CONDITION: &[Tree] = &[leaf(b"CONDition", &REGISTER)];

/// Header names after SCPI-1999 vol. 2; the optional `[SOURce]` stands as two branches, because this parser would
/// take an optional first node for the header path of what follows.
const ROOT: Tree = Node::root(&[
    leaf(b"*IDN", &IDENTITY),
    leaf(b"*RST", &Act),
    leaf(b"*CLS", &Act),
    leaf(b"*ESR", &REGISTER),
    leaf(b"*OPC", &REGISTER),
    Node::branch(b"SOURce", &[VOLTAGE, CURRENT]),
    VOLTAGE,
    CURRENT,
    Node::branch(
        b"MEASure",
        &[Node::default_branch(
            b"SCALar",
            &[
                Node::branch(b"VOLTage", &[Node::default_leaf(b"DC", &MEASURED_VOLTS)]),
                Node::branch(b"CURRent", &[Node::default_leaf(b"DC", &MEASURED_AMPS)]),
                // A function of the device's own.
                leaf(b"ALL", &MEASURED_ALL),
            ],
        )],
    ),
    Node::branch(b"OUTPut", &[Node::default_leaf(b"STATe", &Switch("output"))]),
    Node::branch(b"INSTrument", &[leaf(b"NSELect", &Selected)]),
    Node::branch(
        b"STATus",
        &[Node::branch(b"QUEStionable", CONDITION), Node::branch(b"OPERation", CONDITION)],
    ),
    Node::branch(
        b"SYSTem",
        &[
            Node::branch(b"ERRor", &[Node::default_leaf(b"NEXT", &NEXT_ERROR)]),
            leaf(b"VERSion", &Asked(|_, mut reply| reply.data(1999.0_f64).finish())),
            // The device's own: common practice, no source.
            leaf(b"REMote", &Act),
            leaf(b"LOCal", &Act),
            Node::branch(
                b"WATChdog",
                &[
                    Node::default_leaf(b"STATe", &Switch("watchdog")),
                    leaf(b"TIME", &Number("watchdog seconds")),
                ],
            ),
        ],
    ),
]);

/// A link to something that answers each line.
fn answering(mut answer: impl FnMut(&str) -> Vec<u8> + Send + 'static) -> Link {
    let (link, far) = memory("instrument");
    std::thread::spawn(move || {
        let mut far = BufReader::new(far);
        let mut message = String::new();
        while far.read_line(&mut message).is_ok_and(|count| count > 0) {
            if far.get_mut().write_all(&answer(message.trim_end())).is_err() {
                break;
            }
            message.clear();
        }
    });
    link
}

/// The text of every dialect that comes with the program.
fn dialect_files() -> Vec<String> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/profiles/dialects");
    let files = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let texts: Vec<_> = files
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .map(|path| std::fs::read_to_string(path).unwrap())
        .collect();
    assert!(!texts.is_empty(), "no dialects in {folder}");
    texts
}

#[test]
fn a_standard_device_understands_every_query_but_the_named_departures() {
    let mut dialects: Vec<_> =
        dialect_files().iter().map(|text| Dialect::parse("file", text).unwrap()).collect();
    dialects.push(Dialect::plain());
    let mut refused = Vec::new();
    for dialect in &dialects {
        for query in dialect.all_queries() {
            let mut instrument = Instrument::default();
            let reply = instrument.hear(query);
            let code = instrument.refused.first().map(|(_, code)| *code);
            assert!(code.is_some() || reply.ends_with(b"\n"), "{}: '{query}' has no answer", dialect.name);
            refused.extend(code.map(|code| (dialect.name.as_str(), query, code)));
        }
    }
    refused.sort_unstable();
    assert_eq!(refused, DEPARTURES);
}

/// The rule of SCPI-1999 vol. 1, 6.2.4: a header goes on where the one before it left the path.
#[test]
fn a_standard_device_takes_the_header_path_as_it_is_left() {
    let code = |message| {
        let mut instrument = Instrument::default();
        instrument.hear(message);
        instrument.refused.first().map(|(_, code)| *code)
    };
    assert_eq!(code("MEAS:VOLT?;MEAS:CURR?"), Some(UNDEFINED_HEADER));
    assert_eq!(code("MEAS:VOLT?;CURR?"), None);
    assert_eq!(code("MEAS:VOLT?;:MEAS:CURR?"), None);
    assert_eq!(code("MEAS:VOLT?;*IDN?;CURR?"), None);
}

fn permission() -> Permission {
    let feed = Feed { volts: Volts::constant(12.8), limit: Amps::constant(3.0) };
    let bounds = Bounds { lowest: feed.volts, highest: feed.volts, limit: feed.limit };
    let request = Request { feed, bounds: Some(bounds), beyond_profile: false, cautions: Vec::new() };
    Permission::obtain(&request, |_| true).unwrap()
}

/// The dialect with replies as the standard has them: what is sent is looked at here, not what comes back.
fn with_standard_replies(text: &str) -> Dialect {
    let own = |line: &&str| !line.starts_with("acknowledge") && !line.starts_with("suffix");
    let text: Vec<_> = text.lines().filter(own).collect();
    let mut dialect = Dialect::parse("file", &text.join("\n")).unwrap();
    (dialect.numbers.volts_decimals, dialect.numbers.amps_decimals) = (None, None);
    dialect
}

#[test]
fn a_standard_device_obeys_every_order_of_a_driven_session() {
    let drivable = dialect_files().into_iter().map(|text| with_standard_replies(&text));
    let mut driven = 0;
    for dialect in drivable.filter(Dialect::can_drive) {
        let name = dialect.name.clone();
        let instrument = Arc::new(Mutex::new(Instrument::default()));
        let other_end = Arc::clone(&instrument);
        let link = answering(move |message| other_end.lock().unwrap().hear(message));
        let mut guard = Guard::new(Supply::over(link, dialect), permission()).unwrap();
        guard.supply().identify().unwrap();
        guard.set_up().unwrap();
        guard.on().unwrap();
        assert!(instrument.lock().unwrap().value("output") > 0.0, "{name} did not switch on");
        let reading = guard.supply().read().unwrap();
        assert_eq!((reading.volts, reading.amps), (Volts::constant(12.8), Amps::constant(MEASURED)));
        assert_eq!(guard.finish(), Some(OffOutcome::Confirmed));
        let instrument = instrument.lock().unwrap();
        assert_eq!(instrument.refused, [], "{name}: {:?}", instrument.heard);
        let set = ["volts", "limit", "output"].map(|value| instrument.value(value).to_string());
        assert_eq!(set, ["12.8", "3", "0"], "{name}: {:?}", instrument.heard);
        driven += 1;
    }
    assert!(driven > 0, "no dialect can drive");
}

/// Whether `value` stands in `reply` as it is.
fn holds(reply: &[u8], value: f64) -> bool {
    (0..reply.len()).any(|from| {
        (from + 1..=reply.len()).any(|to| {
            let part = std::str::from_utf8(&reply[from..to]).ok();
            part.and_then(|part| part.parse().ok()).is_some_and(|found: f64| found.total_cmp(&value).is_eq())
        })
    })
}

/// Any bytes, mostly such as readings are made of.
fn noise() -> impl Strategy<Value = Vec<u8>> {
    let part = prop_oneof![
        4 => "[+-]?[0-9]{1,3}(\\.[0-9]{0,4})?(E[+-]?[0-9])?",
        2 => Just(";".to_owned()),
        1 => "[ -~]{0,3}",
    ];
    let likely = proptest::collection::vec(part, 0..5).prop_map(|parts| parts.concat().into_bytes());
    let reading =
        "[+-]?[0-9]{1,2}\\.[0-9]{1,3}(E[+-]?[0-9])?; ?[0-9]\\.[0-9]{3}".prop_map(String::into_bytes);
    prop_oneof![2 => reading, 3 => likely, 1 => proptest::collection::vec(any::<u8>(), 0..24)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_number_read_is_one_that_was_sent(reply in noise()) {
        let mut dialect = Dialect::plain();
        dialect.line.reply_within = Duration::from_millis(50);
        let sent = [&reply[..], b"\n"].concat();
        let mut supply = Supply::over(answering(move |_| sent.clone()), dialect);
        if let Ok(reading) = supply.read() {
 prop_assert!(holds(&reply, reading.volts.value()), "{reading:?}");
            prop_assert!(holds(&reply, reading.amps.value()), "{reading:?}");
        }
    }
}
