//! The commands that the supply knows, and how a header finds its command.

use super::message::Complaint;

/// What a header asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Command {
    Identify,
    Reset,
    ClearStatus,
    EventEnable,
    EventStatus,
    ServiceEnable,
    StatusByte,
    OperationComplete,
    Wait,
    SelfTest,
    NextError,
    ErrorCount,
    Version,
    Remote,
    Local,
    MeasureVolts,
    MeasureAmps,
    MeasureWatts,
    MeasureBoth,
    Volts,
    Amps,
    Output,
    VoltsProtection,
    VoltsTripped,
    AmpsProtection,
    AmpsTripped,
    ClearProtection,
    Watchdog,
    WatchdogTime,
    WatchdogState,
    Channel,
    QuestionableEvent,
    QuestionableCondition,
    QuestionableEnable,
    OperationEvent,
    OperationCondition,
    OperationEnable,
    PresetStatus,
}

/// Which forms of a command there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Forms {
    Set,
    Query,
    Both,
}

/// Header patterns as the standard writes them: capitals are the short form, brackets are optional.
const COMMANDS: [(&str, Forms, Command); 38] = [
    ("*IDN", Forms::Query, Command::Identify),
    ("*RST", Forms::Set, Command::Reset),
    ("*CLS", Forms::Set, Command::ClearStatus),
    ("*ESE", Forms::Both, Command::EventEnable),
    ("*ESR", Forms::Query, Command::EventStatus),
    ("*SRE", Forms::Both, Command::ServiceEnable),
    ("*STB", Forms::Query, Command::StatusByte),
    ("*OPC", Forms::Both, Command::OperationComplete),
    ("*WAI", Forms::Set, Command::Wait),
    ("*TST", Forms::Query, Command::SelfTest),
    ("SYSTem:ERRor[:NEXT]", Forms::Query, Command::NextError),
    ("SYSTem:ERRor:COUNt", Forms::Query, Command::ErrorCount),
    ("SYSTem:VERSion", Forms::Query, Command::Version),
    ("SYSTem:REMote", Forms::Set, Command::Remote),
    ("SYSTem:LOCal", Forms::Set, Command::Local),
    ("MEASure[:SCALar]:VOLTage[:DC]", Forms::Query, Command::MeasureVolts),
    ("MEASure[:SCALar]:CURRent[:DC]", Forms::Query, Command::MeasureAmps),
    ("MEASure[:SCALar]:POWer[:DC]", Forms::Query, Command::MeasureWatts),
    ("MEASure:ALL", Forms::Query, Command::MeasureBoth),
    ("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", Forms::Both, Command::Volts),
    ("[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]", Forms::Both, Command::Amps),
    ("OUTPut[:STATe]", Forms::Both, Command::Output),
    ("[SOURce]:VOLTage:PROTection[:LEVel]", Forms::Both, Command::VoltsProtection),
    ("[SOURce]:VOLTage:PROTection:TRIPped", Forms::Query, Command::VoltsTripped),
    ("[SOURce]:CURRent:PROTection[:LEVel]", Forms::Both, Command::AmpsProtection),
    ("[SOURce]:CURRent:PROTection:TRIPped", Forms::Query, Command::AmpsTripped),
    ("OUTPut:PROTection:CLEar", Forms::Set, Command::ClearProtection),
    ("OUTPut:WATChdog", Forms::Both, Command::Watchdog),
    ("SYSTem:WATChdog:TIME", Forms::Both, Command::WatchdogTime),
    ("SYSTem:WATChdog[:STATe]", Forms::Both, Command::WatchdogState),
    ("INSTrument:NSELect", Forms::Both, Command::Channel),
    ("STATus:QUEStionable[:EVENt]", Forms::Query, Command::QuestionableEvent),
    ("STATus:QUEStionable:CONDition", Forms::Query, Command::QuestionableCondition),
    ("STATus:QUEStionable:ENABle", Forms::Both, Command::QuestionableEnable),
    ("STATus:OPERation[:EVENt]", Forms::Query, Command::OperationEvent),
    ("STATus:OPERation:CONDition", Forms::Query, Command::OperationCondition),
    ("STATus:OPERation:ENABle", Forms::Both, Command::OperationEnable),
    ("STATus:PRESet", Forms::Set, Command::PresetStatus),
];

/// A word of a pattern.
#[derive(Debug, Clone, PartialEq)]
struct Node {
    short: String,
    long: String,
    optional: bool,
}

/// The commands, ready to be looked up.
#[derive(Debug, Clone)]
pub(super) struct Tree {
    commands: Vec<(Vec<Node>, Forms, Command)>,
}

impl Tree {
    /// Every command that the supply knows.
    pub(super) fn new() -> Self {
        let commands = COMMANDS.iter().map(|(pattern, forms, command)| (nodes(pattern), *forms, *command));
        Self { commands: commands.collect() }
    }

    /// The command of a header given from the root, as a query or not.
    pub(super) fn find(&self, header: &[String], query: bool) -> Result<Command, Complaint> {
        let mut wrong_suffix = false;
        for (nodes, forms, command) in &self.commands {
            let has_form = *forms == Forms::Both || (*forms == Forms::Query) == query;
            match matches(nodes, header) {
                Match::Yes if has_form => return Ok(*command),
                Match::WrongSuffix => wrong_suffix = true,
                Match::Yes | Match::No => {}
            }
        }
        Err(if wrong_suffix { Complaint::HEADER_SUFFIX } else { Complaint::UNDEFINED_HEADER })
    }
}

/// Whether a header is that of a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Match {
    Yes,
    No,
    /// The words are right, the number of a channel is not.
    WrongSuffix,
}

fn matches(nodes: &[Node], header: &[String]) -> Match {
    match (nodes.split_first(), header.split_first()) {
        (None, None) => Match::Yes,
        (None, Some(_)) => Match::No,
        (Some((node, rest)), None) => {
            if node.optional {
                matches(rest, header)
            } else {
                Match::No
            }
        }
        (Some((node, rest)), Some((word, words))) => match (node.accepts(word), matches(rest, words)) {
            (Match::Yes, found) if found != Match::No => found,
            (Match::WrongSuffix, found) if found != Match::No => Match::WrongSuffix,
            _ if node.optional => matches(rest, header),
            _ => Match::No,
        },
    }
}

impl Node {
    fn accepts(&self, word: &str) -> Match {
        let letters = word.trim_end_matches(|c: char| c.is_ascii_digit());
        if letters != self.short && letters != self.long {
            return Match::No;
        }
        // One output: a numeric suffix can only be 1.
        match &word[letters.len()..] {
            "" | "1" => Match::Yes,
            _ => Match::WrongSuffix,
        }
    }
}

fn nodes(pattern: &str) -> Vec<Node> {
    let spaced = pattern.replace("[:", ":[");
    spaced.split(':').map(node).collect()
}

fn node(word: &str) -> Node {
    let bare = word.trim_matches(|c| c == '[' || c == ']');
    Node {
        short: bare.chars().filter(|c| !c.is_ascii_lowercase()).collect(),
        long: bare.to_ascii_uppercase(),
        optional: word.starts_with('['),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn find(header: &str) -> Result<Command, Complaint> {
        let (header, query) = header.strip_suffix('?').map_or((header, false), |header| (header, true));
        let words: Vec<String> = header.split(':').map(str::to_owned).collect();
        Tree::new().find(&words, query)
    }

    #[test]
    fn short_and_long_forms_are_the_same_and_nothing_between_is_anything() {
        // SCPI-1999 volume 1 §6.2.1: only the exact short and long forms are accepted.
        for header in ["MEAS:VOLT?", "MEASURE:VOLTAGE?", "MEAS:SCAL:VOLT:DC?", "MEASURE:VOLT:DC?"] {
            assert_eq!(find(header), Ok(Command::MeasureVolts), "{header}");
        }
        for header in ["MEASU:VOLT?", "MEAS:VOLTA?", "MEAS?", "MEAS:DC:VOLT?", "MEAS:VOLT"] {
            assert_eq!(find(header), Err(Complaint::UNDEFINED_HEADER), "{header}");
        }
    }

    #[test]
    fn optional_words_may_be_left_out_at_either_end() {
        for header in
            ["VOLT", "SOUR:VOLT", "SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE", "VOLT:AMPL", "VOLT:LEV"]
        {
            assert_eq!(find(header), Ok(Command::Volts), "{header}");
        }
        assert_eq!(find("VOLT:PROT?"), Ok(Command::VoltsProtection));
        assert_eq!(find("OUTP:STAT"), Ok(Command::Output));
    }

    #[test]
    fn the_number_of_the_only_output_is_one() {
        assert_eq!(find("OUTP1"), Ok(Command::Output));
        assert_eq!(find("OUTP2"), Err(Complaint::HEADER_SUFFIX));
    }
}
