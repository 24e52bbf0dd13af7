//! A profile to TOML, with comments that explain every line to the person who edits it by hand.

use super::model::{
    Check, Envelope, Feed, Learned, PathSection, PhaseReference, Profile, Quantity, SourceLog, StageMeasure,
};
use super::read::FORMAT;
use crate::units::{Amps, Joules, Seconds, Volts};
use std::fmt::Write;

impl Profile {
    /// The profile as TOML text, which [`Profile::from_toml`] reads back to the same profile.
    #[must_use]
    pub fn to_toml(&self) -> String {
        let mut out = String::new();
        head(&mut out, self);
        feed(&mut out, &self.feed);
        let volts = self.learned.feed.unwrap_or(self.feed.nominal);
        phases(&mut out, &self.phases, volts);
        power_path(&mut out, &self.power_path);
        checks(&mut out, &self.checks);
        learned(&mut out, &self.learned);
        out
    }
}

/// Appends lines; writing to a `String` cannot fail.
macro_rules! line {
    ($out:expr) => { $out.push('\n') };
    ($out:expr, $($format:tt)+) => {{
        let _ = writeln!($out, $($format)+);
    }};
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for character in text.chars() {
        match character {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            control if control.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(control));
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

fn list(items: &[String]) -> String {
    format!("[{}]", items.iter().map(|item| quoted(item)).collect::<Vec<_>>().join(", "))
}

/// A number that reads back to the same number.
fn number(value: f64) -> String {
    format!("{value:?}")
}

// ---- head and feed ----

fn head(out: &mut String, profile: &Profile) {
    line!(
        out,
        "# A reference profile: what known-good boards of one model do when they are fed and switched on."
    );
    line!(
        out,
        "# It may be edited by hand; a slip is reported with its line and the nearest right key. A line that"
    );
    line!(
        out,
        "# starts with # is a comment. Numbers are in the unit that ends the key: _v volts, _a amperes,"
    );
    line!(
        out,
        "# _w watts, _s seconds, _j joules. `feedtale learn --update` keeps what stands in this file except the"
    );
    line!(
        out,
        "# envelopes and [learned], which it computes anew, and comments of your own, which it drops."
    );
    line!(out);
    line!(out, "# The format of this file.");
    line!(out, "profile = {FORMAT}");
    line!(out, "# The board model, spelt as the logs of such boards spell it.");
    line!(out, "board = {}", quoted(&profile.board));
    line!(out, "# What kind of board it is, for people.");
    line!(out, "description = {}", quoted(&profile.description));
    line!(out);
}

fn feed(out: &mut String, feed: &Feed) {
    line!(
        out,
        "# How the board is to be fed. Check these before you trust them: they come from the logs and from"
    );
    line!(out, "# cautious defaults, not from the maker of the board.");
    line!(out, "[feed]");
    line!(out, "# Usual volts.");
    line!(out, "nominal_v = {}", number(feed.nominal.value()));
    line!(out, "# Lowest volts at which a good board still boots, and highest that do no harm.");
    line!(out, "lowest_v = {}", number(feed.lowest.value()));
    line!(out, "highest_v = {}", number(feed.highest.value()));
    line!(
        out,
        "# Current limit to set: above the board's highest peak, so that a good board is not starved, and no"
    );
    line!(out, "# higher than that needs, so that a short does little harm.");
    line!(out, "limit_a = {}", number(feed.limit.value()));
    line!(out, "# Where on the board the supply is connected.");
    line!(out, "point = {}", quoted(&feed.point));
    line!(out, "# What to mind before the output is switched on; shown with every finding.");
    if feed.cautions.is_empty() {
        line!(out, "cautions = []");
    } else {
        line!(out, "cautions = [");
        for caution in &feed.cautions {
            line!(out, "    {},", quoted(caution));
        }
        line!(out, "]");
    }
    line!(out);
}

// ---- phases ----

fn phases(out: &mut String, phases: &[PhaseReference], volts: Volts) {
    line!(
        out,
        "# The stages, in the order in which a good board goes through them; the last is the running level."
    );
    line!(
        out,
        "# `order` only guards the order against a block moved by mistake. Each envelope is the range that"
    );
    line!(
        out,
        "# good boards of this model keep within; a measured value outside it is reported as a departure."
    );
    line!(
        out,
        "# `typical` is the geometric mean of the boards. The comment at the end of a line is for reading: the"
    );
    line!(out, "# same in amperes at {volts}.");
    for (index, phase) in phases.iter().enumerate() {
        phase_table(out, index + 1, phase, volts);
    }
    line!(out);
}

fn phase_table(out: &mut String, order: usize, phase: &PhaseReference, volts: Volts) {
    line!(out);
    line!(out, "[[phase]]");
    line!(out, "order = {order}");
    line!(out, "name = {}", quoted(&phase.name));
    if phase.waits_for_person {
        line!(out, "# The stage lasts until a person does something (standby until the power button).");
    }
    line!(out, "waits_for_person = {}", phase.waits_for_person);
    for quantity in Quantity::ALL {
        if let Some(envelope) = phase.envelope(quantity) {
            envelope_line(out, quantity, envelope, volts);
        }
    }
    line!(out, "# How watts follow feed volts: 0 a converter (same watts), 1 same amperes, 2 resistive.");
    line!(out, "volts_exponent = {}", number(phase.volts_exponent));
    if let Some(sd) = phase.volts_exponent_sd {
        line!(
            out,
            "# How well that is known (standard deviation); take the line out if you know it for certain."
        );
        line!(out, "volts_exponent_sd = {}", number(sd));
    }
}

fn envelope_line(out: &mut String, quantity: Quantity, envelope: Envelope, volts: Volts) {
    let Envelope { low, typical, high } = envelope;
    line!(
        out,
        "{} = {{ low = {}, typical = {}, high = {} }}  # {}: {} ({} to {})",
        quantity.key(),
        number(low),
        number(typical),
        number(high),
        meaning(quantity),
        shown(quantity, typical, volts),
        shown(quantity, low, volts),
        shown(quantity, high, volts),
    );
}

fn meaning(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::MeanPower => "mean",
        Quantity::PeakPower => "highest reading",
        Quantity::Activity => "how much it moves (standard deviation)",
        Quantity::Duration => "how long it lasts",
        Quantity::Energy => "what it takes in all",
    }
}

/// The value as a technician reads it: power in amperes at the feed volts.
fn shown(quantity: Quantity, value: f64, volts: Volts) -> String {
    let text = match quantity {
        Quantity::Duration => Seconds::new(value).map(|time| time.to_string()),
        Quantity::Energy => Joules::new(value).map(|energy| energy.to_string()),
        _ => Amps::new(value / volts.value().max(f64::MIN_POSITIVE)).map(|amps| amps.to_string()),
    };
    text.unwrap_or_else(|_| "too large to show".to_owned())
}

// ---- power path and checks ----

fn power_path(out: &mut String, path: &[PathSection]) {
    line!(
        out,
        "# The sections of the board in the order in which power passes them. A stage in `proved_by` that is"
    );
    line!(
        out,
        "# reached and keeps to its envelope proves the section; current fed in at a point in `skipped_from`"
    );
    line!(out, "# does not pass the section, so such a run says nothing of it.");
    if path.is_empty() {
        line!(out, "# Example, to be filled in for this board:");
        line!(out, "# [[power_path]]");
        line!(out, "# section = \"charger\"");
        line!(out, "# proved_by = [\"standby\"]");
        line!(out, "# skipped_from = [\"battery connector\"]");
    }
    for section in path {
        line!(out);
        line!(out, "[[power_path]]");
        line!(out, "section = {}", quoted(&section.section));
        line!(out, "proved_by = {}", list(&section.proved_by));
        line!(out, "skipped_from = {}", list(&section.skipped_from));
    }
    line!(out);
}

fn checks(out: &mut String, checks: &[Check]) {
    line!(
        out,
        "# What to probe next: `class` is the verdict that asks for it, `stage` (may be left out) the stage in"
    );
    line!(out, "# which the board stopped. Without any, findings fall back on common practice.");
    if checks.is_empty() {
        line!(out, "# Example, to be filled in for this board:");
        line!(out, "# [[check]]");
        line!(out, "# class = \"stalled\"");
        line!(out, "# stage = \"the name of a phase above\"");
        line!(out, "# probe = \"Measure the memory supply at its inductor.\"");
    }
    for check in checks {
        line!(out);
        line!(out, "[[check]]");
        line!(out, "class = {}", quoted(&check.class));
        if let Some(stage) = &check.stage {
            line!(out, "stage = {}", quoted(stage));
        }
        line!(out, "probe = {}", quoted(&check.probe));
    }
    line!(out);
}

// ---- learned ----

fn learned(out: &mut String, learned: &Learned) {
    line!(
        out,
        "# From what the envelopes were computed: different boards, captures of them, day, and the feed volts at"
    );
    line!(
        out,
        "# which the envelopes of power hold. Fewer than five boards make wide or borrowed envelopes."
    );
    line!(out, "[learned]");
    line!(out, "boards = {}", learned.boards);
    line!(out, "captures = {}", learned.captures);
    line!(out, "date = {}", quoted(&learned.date));
    if let Some(feed) = learned.feed {
        line!(out, "feed_v = {}", number(feed.value()));
    }
    if learned.logs.iter().any(|log| !log.stages.is_empty()) {
        line!(out);
        line!(
            out,
            "# What each log measured, kept so that captures can be added later. To forget a log, delete its"
        );
        line!(out, "# block and run `feedtale learn --update`.");
    }
    for log in &learned.logs {
        source_log(out, log);
    }
}

fn source_log(out: &mut String, log: &SourceLog) {
    line!(out);
    line!(out, "[[learned.log]]");
    line!(out, "name = {}", quoted(&log.name));
    line!(out, "sha256 = {}", quoted(&log.sha256));
    if let Some(serial) = &log.serial {
        line!(out, "serial = {}", quoted(serial));
    }
    if let Some(feed) = log.feed {
        line!(out, "feed_v = {}", number(feed.value()));
    }
    if log.stages.is_empty() {
        return;
    }
    line!(out, "stage = [");
    for stage in &log.stages {
        line!(out, "    {},", measure(stage));
    }
    line!(out, "]");
}

fn measure(stage: &StageMeasure) -> String {
    let mut fields = vec![
        format!("phase = {}", quoted(&stage.phase)),
        format!("mean_w = {}", number(stage.mean_power)),
        format!("peak_w = {}", number(stage.peak_power)),
        format!("activity_w = {}", number(stage.activity)),
    ];
    fields.extend(stage.duration.map(|value| format!("duration_s = {}", number(value))));
    fields.extend(stage.energy.map(|value| format!("energy_j = {}", number(value))));
    fields.push(format!("volts = {}", number(stage.volts)));
    fields.push(format!("sd_w = {}", number(stage.uncertainty)));
    fields.extend(stage.seen.map(|value| format!("seen_s = {}", number(value))));
    fields.extend(stage.update.map(|value| format!("update_s = {}", number(value))));
    format!("{{ {} }}", fields.join(", "))
}
