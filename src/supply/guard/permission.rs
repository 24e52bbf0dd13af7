//! Permission to drive: a value that only this module makes, after a person saw what is to be done.

use crate::units::{Amps, Volts};

/// Volts and current limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feed {
    /// Volts.
    pub volts: Volts,
    /// Current limit.
    pub limit: Amps,
}

/// What the board's profile allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Lowest volts at which a good board still boots.
    pub lowest: Volts,
    /// Highest volts that do no harm.
    pub highest: Volts,
    /// Advised current limit.
    pub limit: Amps,
}

/// What a person is asked to allow.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What is to be set.
    pub feed: Feed,
    /// What the board's profile allows; `None` without a profile.
    pub bounds: Option<Bounds>,
    /// Whether going beyond the profile, or without one, was asked for.
    pub beyond_profile: bool,
    /// What to mind before the output is switched on.
    pub cautions: Vec<String>,
}

/// Why there is no permission.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// More volts than the board stands.
    #[error(
        "{asked} is above the {highest} that the profile allows; more than a board is made for breaks its converters down and can destroy every chip behind them at once. If that is meant, ask for it with --beyond-profile"
    )]
    AboveHighest {
        /// What was asked for.
        asked: Volts,
        /// What the profile allows.
        highest: Volts,
    },
    /// Fewer volts than the board boots from.
    #[error(
        "{asked} is below the {lowest} from which a good board boots; it would draw more amps for the same power, or try and give up without end. If that is meant, ask for it with --beyond-profile"
    )]
    BelowLowest {
        /// What was asked for.
        asked: Volts,
        /// What the profile allows.
        lowest: Volts,
    },
    /// A higher limit than advised.
    #[error(
        "a limit of {asked} is above the {advised} that the profile advises; into a short it turns {power:.0} W into heat in the faulty part and burns tracks. If that is meant, ask for it with --beyond-profile"
    )]
    AboveLimit {
        /// What was asked for.
        asked: Amps,
        /// What the profile advises.
        advised: Amps,
        /// What the supply could push into the board, in watts.
        power: f64,
    },
    /// Nothing says what the board stands.
    #[error(
        "without a profile nothing says what this board stands; give its profile, or take the volts and limit on yourself with --beyond-profile"
    )]
    NoProfile,
    /// A feed that is none.
    #[error("{volts} at a limit of {limit} is no feed; both must be above zero")]
    NoFeed {
        /// Volts asked for.
        volts: Volts,
        /// Limit asked for.
        limit: Amps,
    },
    /// The person said no.
    #[error("not confirmed; nothing was sent to the supply")]
    NotConfirmed,
}

/// Permission to drive one output at one feed. Only [`Permission::obtain`] makes it.
#[derive(Debug)]
pub struct Permission {
    feed: Feed,
    preparation: Preparation,
}

/// Permission to send what a supply needs before it answers (remote control, selection of an output), which sets no
/// volts, no limit and no output. Only this module makes it.
#[derive(Debug)]
pub struct Preparation(());

impl Preparation {
    /// To be called only where a person asked for it.
    #[must_use]
    pub fn asked_for() -> Self {
        Self(())
    }
}

impl Permission {
    /// Checks the request against the profile, and has it confirmed by a person who is shown its cautions.
    ///
    /// # Errors
    /// [`Refusal`], which says why what was asked for can do harm.
    pub fn obtain(request: &Request, confirm: impl FnOnce(&Request) -> bool) -> Result<Self, Refusal> {
        let feed = request.feed;
        if feed.volts.value() <= 0.0 || feed.limit.value() <= 0.0 {
            return Err(Refusal::NoFeed { volts: feed.volts, limit: feed.limit });
        }
        if !request.beyond_profile {
            within(feed, request.bounds.as_ref().ok_or(Refusal::NoProfile)?)?;
        }
        if confirm(request) {
            Ok(Self { feed, preparation: Preparation(()) })
        } else {
            Err(Refusal::NotConfirmed)
        }
    }

    /// What may be set.
    #[must_use]
    pub fn feed(&self) -> Feed {
        self.feed
    }

    /// Whoever may drive may prepare.
    pub(super) fn preparation(&self) -> &Preparation {
        &self.preparation
    }
}

fn within(feed: Feed, bounds: &Bounds) -> Result<(), Refusal> {
    let Feed { volts, limit } = feed;
    if volts > bounds.highest {
        return Err(Refusal::AboveHighest { asked: volts, highest: bounds.highest });
    }
    if volts < bounds.lowest {
        return Err(Refusal::BelowLowest { asked: volts, lowest: bounds.lowest });
    }
    if limit > bounds.limit {
        let power = (volts * limit).value();
        return Err(Refusal::AboveLimit { asked: limit, advised: bounds.limit, power });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn request(volts: f64, limit: f64, beyond_profile: bool) -> Request {
        let bounds = Bounds {
            lowest: Volts::constant(10.0),
            highest: Volts::constant(13.0),
            limit: Amps::constant(3.0),
        };
        Request {
            feed: Feed { volts: Volts::constant(volts), limit: Amps::constant(limit) },
            bounds: Some(bounds),
            beyond_profile,
            cautions: vec!["remove the battery".into()],
        }
    }

    #[test]
    fn what_the_profile_allows_is_confirmed_with_its_cautions_in_view() {
        let mut seen = Vec::new();
        let permission = Permission::obtain(&request(12.8, 3.0, false), |request| {
            seen.clone_from(&request.cautions);
            true
        });
        assert_eq!(permission.unwrap().feed().volts, Volts::constant(12.8));
        assert_eq!(seen, ["remove the battery"]);
    }

    #[test]
    fn beyond_the_profile_is_refused_and_says_why() {
        let refusal = |request: &Request| Permission::obtain(request, |_| panic!("asked")).unwrap_err();
        assert!(matches!(refusal(&request(13.1, 1.0, false)), Refusal::AboveHighest { .. }));
        assert!(matches!(refusal(&request(9.9, 1.0, false)), Refusal::BelowLowest { .. }));
        assert!(matches!(refusal(&request(12.0, 3.1, false)), Refusal::AboveLimit { .. }));
        assert!(matches!(refusal(&request(0.0, 3.1, true)), Refusal::NoFeed { .. }));
        let unknown = Request { bounds: None, ..request(12.0, 1.0, false) };
        assert_eq!(refusal(&unknown), Refusal::NoProfile);
        assert!(refusal(&request(20.0, 1.0, false)).to_string().contains("can destroy"));
    }

    #[test]
    fn beyond_the_profile_is_possible_when_asked_for_and_confirmed() {
        assert!(Permission::obtain(&request(20.0, 5.0, true), |_| true).is_ok());
        let no = Permission::obtain(&request(20.0, 5.0, true), |_| false).unwrap_err();
        assert_eq!(no, Refusal::NotConfirmed);
    }
}
