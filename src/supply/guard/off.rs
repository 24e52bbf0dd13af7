//! Off, and confirmed to be off.

use super::{Guard, GuardError, Preparation, State, hand_back, prepare, send};
use crate::supply::{Supply, SupplyError};

/// How often switching off is tried before the state counts as unknown.
const OFF_TRIES: u32 = 3;

/// How a switching off went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OffOutcome {
    /// The supply itself says that its output is off.
    Confirmed,
    /// Nothing confirmed it: the output may be on.
    Unknown {
        /// Why.
        why: String,
    },
}

impl Guard {
    /// Switches the output off, asks whether it is, and tries again a few times if not; opens the link again if it was
    /// lost. The order goes out at once, whatever state the line is in.
    pub fn off(&mut self) -> OffOutcome {
        let off = self.drive.off.clone();
        let acknowledge = self.drive.acknowledge.clone();
        let mut why = String::new();
        for _ in 0..OFF_TRIES {
            let preparation = self.permission.preparation();
            match try_off(&mut self.supply, preparation, &off, acknowledge.as_deref()) {
                Ok(()) => {
                    self.disarm();
                    self.state = State::Off;
                    return OffOutcome::Confirmed;
                }
                Err(reason) => why = reason,
            }
        }
        OffOutcome::Unknown { why }
    }

    pub(super) fn confirm_off(&mut self) -> Result<(), GuardError> {
        match self.off() {
            OffOutcome::Confirmed => Ok(()),
            OffOutcome::Unknown { why } => Err(GuardError::NotOff(why)),
        }
    }

    /// The watchdog has done its work once the output is off; one that stays armed does no harm.
    fn disarm(&mut self) {
        if self.state == State::MaybeOn
            && let Some(watchdog) = self.drive.watchdog.clone()
        {
            let _ = self.order(&watchdog.disarm);
        }
    }

    /// Ends driving: the output off and confirmed (unless it is to stay on), the supply back to its front panel.
    /// `None` if the output was left on as asked, or never touched.
    #[must_use = "an outcome that could not be confirmed must reach a person"]
    pub fn finish(mut self) -> Option<OffOutcome> {
        self.on_drop = None;
        self.end()
    }

    fn end(&mut self) -> Option<OffOutcome> {
        let outcome = match self.state {
            State::MaybeOn if !self.leave_on => Some(self.off()),
            State::MaybeOn | State::Untouched => None,
            State::Off | State::Ready => Some(OffOutcome::Confirmed),
        };
        self.state = State::Untouched;
        // The front panel is a courtesy: a link that is gone has been reported already.
        let _ = hand_back(&mut self.supply, self.permission.preparation());
        outcome
    }
}

fn try_off(
    supply: &mut Supply,
    preparation: &Preparation,
    off: &str,
    acknowledge: Option<&str>,
) -> Result<(), String> {
    if let Err(error) = send(supply, off, acknowledge) {
        return Err(after(supply, preparation, &error));
    }
    // Whatever it answered: the state it reads back as is what counts.
    match supply.output_on() {
        Ok(Some(false)) => Ok(()),
        Ok(Some(true)) => Err("the supply says that its output is still on".to_owned()),
        Ok(None) => Err("this supply cannot say whether its output is on".to_owned()),
        Err(error) => Err(after(supply, preparation, &error)),
    }
}

/// Opens a lost link again for the next attempt; what went wrong, in words.
fn after(supply: &mut Supply, preparation: &Preparation, error: &SupplyError) -> String {
    if !error.is_link_lost() {
        return error.to_string();
    }
    match supply.reconnect(None).and_then(|()| prepare(supply, preparation)) {
        Ok(()) => error.to_string(),
        Err(again) => format!("{error}; {again}"),
    }
}

impl Drop for Guard {
    fn drop(&mut self) {
        let acted = self.state == State::MaybeOn && !self.leave_on;
        let outcome = self.end();
        if let (true, Some(outcome), Some(report)) = (acted, outcome, self.on_drop.take()) {
            report(&outcome);
        }
    }
}
