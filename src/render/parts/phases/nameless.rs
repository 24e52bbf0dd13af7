//! Bands that are called nothing, or have no room for their name: a blank cell of the ribbon is to have a meaning.

use super::super::super::axis::TimeAxis;
use super::super::super::sheet::Sheet;
use super::super::Subject;
use super::super::legend::Blank;
use super::{Band, Bands, SLIVER, most_rows};

/// What is called nothing is part of its neighbour: how the feed rises, or the edge of a try, of what follows it; what is left
/// behind the last try is rest. So is a sliver of what is called as its neighbour.
pub(super) fn joined(sheet: &Sheet, bands: Vec<Band>) -> Vec<Band> {
    let mut joined: Vec<Band> = Vec::with_capacity(bands.len());
    let mut bands = bands.into_iter().peekable();
    while let Some(band) = bands.next() {
        let is_edge = !band.trouble && !band.rest && band.name.is_empty();
        // What is wider is a stretch of its own.
        let is_sliver = band.right - band.left <= sheet.u(SLIVER);
        if let Some(same) = bands.peek_mut().filter(|next| is_sliver && next.is_called_as(&band)) {
            same.left = band.left;
        } else if !is_edge || !is_sliver {
            joined.push(band);
        } else if let Some(next) = bands.peek_mut().filter(|next| !next.rest) {
            next.left = band.left;
        } else if let Some(before) = joined.last_mut().filter(|before| !before.trouble) {
            before.right = band.right;
        } else {
            joined.push(Band { rest: true, ..band });
        }
    }
    joined
}

impl Band {
    /// Whether it has the name of another, and the look.
    fn is_called_as(&self, other: &Self) -> bool {
        !self.name.is_empty() && self.name == other.name && self.trouble == other.trouble && !self.rest
    }
}

impl Bands {
    /// With the rows of names that a picture of one panel has; on a very low one the amps need the last of them, unless a
    /// cell would be blank without it, for which the legend would need as much.
    pub(in crate::render) fn of_panel(sheet: &Sheet, subject: &Subject, time: TimeAxis) -> Self {
        const FEW: i32 = 2;
        let few = sheet.is_very_low().then(|| Self::new(sheet, subject, (time, FEW)));
        let is_told = |bands: &Self| bands.blank(sheet).is_none_or(|blank| blank.short.is_empty());
        few.filter(is_told).unwrap_or_else(|| Self::new(sheet, subject, (time, most_rows(sheet))))
    }

    /// What a cell without a name means, where one is wide enough to be seen as blank.
    pub(in crate::render) fn blank(&self, sheet: &Sheet) -> Option<Blank> {
        self.blank_beside(sheet, None)
    }

    /// The same beside a ribbon of others: what has its name there is explained.
    pub(in crate::render) fn blank_beside(&self, sheet: &Sheet, others: Option<&Self>) -> Option<Blank> {
        /// Narrower, a cell is no more than its sides, in units of the layout.
        const SEEN: f64 = 4.0;
        let is_named = |band: &Band, name: &Option<String>| {
            let above =
                || self.raised.iter().any(|name| name.span.0 <= band.left && band.right <= name.span.1);
            name.as_ref().is_some_and(|name| !name.is_empty()) || above()
        };
        let cells = self.all.iter().zip(&self.inside).zip(self.shaded());
        let seen = cells.filter(|((band, _), _)| band.right - band.left >= sheet.u(SEEN));
        let blank = seen.filter(|((band, name), _)| !band.trouble && !is_named(band, name));
        let short = blank.filter(|((band, _), _)| !band.rest);
        let mut short: Vec<(&str, bool)> =
            short.map(|((band, _), shaded)| (band.name.as_str(), shaded)).collect();
        let rest = self.has_unnamed_rests();
        // What is called nothing has no name that could be told; beside rests, what is left of a stage that has its name
        // elsewhere is one of them.
        // How long the board was not fed before its first reading is no matter.
        let is_told = |name: &str| {
            rest && self.is_named_elsewhere(name) || others.is_some_and(|of| of.is_named_elsewhere(name))
        };
        short.retain(|(name, _)| !(name.is_empty() || *name == "off" || is_told(name)));
        let shaded = !rest && !short.is_empty() && short.iter().all(|(_, shaded)| *shaded);
        let mut short: Vec<String> = short.into_iter().map(|(name, _)| name.to_owned()).collect();
        short.dedup();
        let found = Blank { rest, short, shaded };
        (found != Blank::default()).then_some(found)
    }

    /// Whether a name stands in a cell, or above one.
    fn is_named_elsewhere(&self, name: &str) -> bool {
        let inside = self.inside.iter().flatten().any(|inside| inside == name);
        inside || self.raised.iter().any(|raised| raised.text == name)
    }

    /// Whether there are rests between tries that have no room for their name.
    fn has_unnamed_rests(&self) -> bool {
        let named = |name: &Option<String>| name.as_ref().is_some_and(|name| !name.is_empty());
        self.all.iter().zip(&self.inside).any(|(band, name)| band.rest && !named(name))
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::super::fixtures::{cycling, finding, phase, profile, stages, trace};
    use super::super::super::super::options::Options;
    use super::super::MOST_ROWS;
    use super::*;
    use crate::reference::Profile;
    use crate::units::{Amps, Seconds};
    use crate::verdict::{Class, Finding, Phase};

    fn sheet() -> Sheet {
        Sheet::new(&Options::default(), (440.0, 560.0))
    }

    /// The bands of the first minute, over so many columns.
    fn bands(finding: &Finding, profile: Option<&Profile>, width: i32) -> Bands {
        let trace = trace(601, 60.0, |_| 0.5);
        let time = TimeAxis { left: 100, right: 100 + width, from: 0.0, to: 60.0 };
        Bands::new(&sheet(), &Subject { trace: &trace, profile, finding }, (time, MOST_ROWS))
    }

    /// Name and columns of each.
    fn cells(bands: &Bands) -> Vec<(&str, i32, i32)> {
        bands.all.iter().map(|band| (band.name.as_str(), band.left, band.right)).collect()
    }

    #[test]
    fn how_the_feed_rises_is_part_of_the_stage_that_it_leads_to() {
        let mut profile = profile();
        profile.phases.remove(0);
        let mut finding = finding(vec![phase("off", 0.0, 10.0), phase("standby", 10.0, 10.8)]);
        finding.phases.push(phase("rails", 10.8, 60.0));
        assert_eq!(cells(&bands(&finding, Some(&profile), 600)), [("off", 100, 200), ("rails", 200, 700)]);
        // A quick readback shows it to be more than the rise.
        finding.log.renewed_s = Some(Seconds::constant(0.04));
        assert_eq!(cells(&bands(&finding, Some(&profile), 600))[1], ("at rest", 200, 208));
        finding.log.renewed_s = Some(Seconds::constant(0.25));
        assert_eq!(cells(&bands(&finding, Some(&profile), 600))[1], ("rails", 200, 700));
        finding.phases[1] = phase("standby", 10.0, 12.0);
        finding.phases[2] = phase("rails", 12.0, 60.0);
        assert_eq!(
            cells(&bands(&finding, Some(&profile), 600))[1],
            ("at rest", 200, 220),
            "long enough to be one"
        );
    }

    #[test]
    fn no_cell_beside_the_tries_is_blank() {
        // What the alignment did not take apart reaches a little beyond the tries on both sides.
        let mut finding = cycling(3);
        finding.attempts[2].given_up = true;
        finding
            .phases
            .iter_mut()
            .filter(|phase| ["rails", "firmware"].contains(&phase.name.as_str()))
            .for_each(|phase| phase.name = "attempt".into());
        finding.phases[1] = phase("standby", 2.0, 5.8);
        finding.phases.insert(2, phase("attempt", 5.8, 6.0));
        finding.phases.push(phase("attempt", 14.0, 14.2));
        let found = bands(&finding, None, 600);
        let cells = cells(&found);
        assert_eq!(cells[..3], [("off", 100, 120), ("standby", 120, 158), ("1", 158, 180)], "{cells:?}");
        assert!(found.all.last().unwrap().rest, "{cells:?}");
        assert_eq!(found.blank(&sheet()), Some(Blank { rest: true, ..Blank::default() }));
    }

    #[test]
    fn a_rest_before_the_first_try_lies_between_none_and_what_is_left_behind_the_last_is_a_rest() {
        let mut finding = cycling(3);
        for attempt in &mut finding.attempts {
            attempt.given_up = true;
        }
        finding.phases[1] = phase("starved", 2.0, 2.2);
        finding.phases.insert(2, phase("rest", 2.2, 6.0));
        finding.phases.push(phase("standby", 14.0, 14.5));
        let found = bands(&finding, Some(&profile()), 600);
        let names: Vec<&str> = cells(&found).into_iter().map(|(name, ..)| name).collect();
        assert_eq!(names, ["off", "standby", "1", "", "2", "", "3", ""]);
        assert_eq!(found.blank(&sheet()), Some(Blank { rest: true, ..Blank::default() }));
    }

    #[test]
    fn a_sliver_whose_name_stands_elsewhere_is_named_and_what_finds_no_room_is_explained() {
        let mut finding = finding(vec![phase("off", 0.0, 8.0), phase("standby", 8.0, 9.0)]);
        finding.phases.extend([phase("loading", 9.0, 30.0), phase("standby", 30.0, 60.0)]);
        (finding.verdict.class, finding.verdict.reached) = (Class::DroppedOut, Some("loading".into()));
        finding.phases[3].mean_a = Amps::constant(0.01);
        let found = bands(&finding, None, 600);
        assert_eq!(found.raised.iter().map(|name| name.text.as_str()).collect::<Vec<_>>(), ["standby"]);
        assert_eq!(found.blank(&sheet()), None);
        finding.phases = stages(60);
        let blank = bands(&finding, None, 600).blank(&sheet()).unwrap();
        assert!(!blank.rest && !blank.short.is_empty(), "{blank:?}");
        let words = |blank: &Blank| blank.samples().into_iter().map(|(_, words)| words).collect::<Vec<_>>();
        let unnamed = finding.phases.iter_mut().find(|phase| phase.name == blank.short[0]).unwrap();
        unnamed.name = "off".into();
        let others = bands(&finding, None, 600).blank(&sheet()).unwrap().short;
        let (narrow, wide) = (bands(&finding, None, 600), bands(&finding, None, 60_000));
        let told = narrow.blank_beside(&sheet(), Some(&wide)).unwrap_or_default().short;
        assert_eq!(told, Vec::<String>::new(), "the other ribbon names them all");
        assert!(!others.contains(&"off".into()), "{others:?}");
        let rest = Blank { rest: true, short: vec!["rails".into()], shaded: false };
        assert_eq!(
            words(&rest),
            ["rest or short stage: rails"],
            "of two samples alike nobody knows which is which"
        );
        let other = Blank { rest: false, short: vec!["rails".into(), "loader".into()], shaded: false };
        let both = Blank::both(Some(rest), Some(other)).unwrap();
        assert_eq!(words(&both), ["rest or short stages: rails, loader"]);
        let many = Blank { short: ["a", "b", "c", "d"].map(String::from).to_vec(), ..Blank::default() };
        assert_eq!(words(&many), ["short stages: a, b, c and 1 more"]);
    }

    #[test]
    fn what_explains_a_shaded_cell_is_shaded_as_well() {
        let trace = trace(601, 60.0, |_| 0.5);
        let time = TimeAxis { left: 100, right: 700, from: 0.0, to: 60.0 };
        let blank = |phases: Vec<Phase>| {
            let finding = finding(phases);
            let subject = Subject { trace: &trace, profile: None, finding: &finding };
            let found = Bands::new(&sheet(), &subject, (time, 0)).blank(&sheet()).unwrap();
            (found.short.join(" "), found.shaded)
        };
        let off = phase("off", 0.0, 8.0);
        let (standby, loading) = (phase("standby", 8.0, 9.0), phase("loading", 9.0, 60.0));
        assert_eq!(blank(vec![off, standby, loading.clone()]), ("standby".into(), true));
        assert_eq!(blank(vec![phase("standby", 0.0, 1.0), loading]), ("standby".into(), false));
    }

    #[test]
    fn words_over_few_tries_leave_the_stages_before_them_their_names() {
        let mut finding = cycling(2);
        finding.verdict.class = Class::LatchOff;
        finding.attempts[1].given_up = true;
        finding.phases.push(phase("standby", 11.0, 60.0));
        let found = bands(&finding, None, 300);
        let raised: Vec<&str> = found.raised.iter().map(|name| name.text.as_str()).collect();
        assert!(raised.contains(&"off") && raised.contains(&"standby"), "{raised:?}");
        assert!(raised.contains(&"2 tries, starts 3.0 s apart"), "{raised:?}");
    }
}
