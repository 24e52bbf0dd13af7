//! What tells the two verdicts apart that a finding wavers between. All common practice at repair benches, with no source.

use super::look_alikes::limit_too_low;
use super::usual::LOOK;
use crate::verdict::Class::{
    self, Cycling, DroppedOut, ExcessStandby, FeedLimited, FullBoot, LatchOff, NoDraw, Stalled, StandbyOnly,
};
use crate::verdict::assemble::second;
use crate::verdict::is_toss_up;
use crate::verdict::seen::{Seen, exact};

/// The first check of a toss-up: what the one verdict would show, and the other would not.
pub(super) fn tells_apart(seen: &Seen) -> Option<String> {
    let second = close_second(seen)?;
    match [seen.class(), second] {
        [NoDraw, StandbyOnly] | [StandbyOnly, NoDraw] => Some(fed_or_not(seen)),
        [FullBoot, Stalled] | [Stalled, FullBoot] => Some(LOOK.into()),
        [LatchOff | Cycling | Stalled | DroppedOut, FeedLimited] => higher_limit(seen),
        [LatchOff, Cycling] | [Cycling, LatchOff] => {
            Some("capture again for a minute or more after its last try, feed left on: does it try again by itself?".into())
        }
        [DroppedOut, LatchOff | Cycling] | [LatchOff | Cycling, DroppedOut] => {
            Some("look at screen, light, fan or console as it is on: did it run before it went off?".into())
        }
        [ExcessStandby, Stalled] | [Stalled, ExcessStandby] => {
            Some("measure its first rails: with these up it has woken and hangs, without them it draws too much asleep".into())
        }
        _ => None,
    }
}

/// Whether that check has the volts at the feed point measured.
pub(super) fn measures_the_feed(seen: &Seen) -> bool {
    let second = close_second(seen);
    matches!((seen.class(), second), (NoDraw, Some(StandbyOnly)) | (StandbyOnly, Some(NoDraw)))
}

fn fed_or_not(seen: &Seen) -> String {
    let point = seen.feed_point.as_deref().unwrap_or("feed point");
    format!(
        "measure the volts, and their polarity, on the board side of the {point}, then its always-on rails: with these up it \
         stands by, without them a lead, a contact or the input is open"
    )
}

/// A repeat at the limit that good boards are fed at; nothing where this was as high, or where it is advised anyway.
fn higher_limit(seen: &Seen) -> Option<String> {
    let limit = seen.analysis.run.limit_a.filter(|_| limit_too_low(seen).is_none())?;
    let advised =
        seen.profile.map(|profile| profile.feed.limit.value()).filter(|advised| *advised > limit)?;
    let [from, to] = [limit, advised].map(|amps| exact(amps, "A"));
    Some(format!("raise the current limit from {from} to {to}, and repeat: does it get further then?"))
}

/// What the verdict may be as well, where it is no more than the first thing to look for.
fn close_second(seen: &Seen) -> Option<Class> {
    let second = second(seen)?;
    is_toss_up(seen.class(), seen.analysis.confidence(), Some(second)).then_some(second.class)
}
