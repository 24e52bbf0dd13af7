//! Names that crowd: where no plain order of setting them finds room for all, they are tried one with the other.

use super::super::super::axis::TimeAxis;
use super::super::super::scene::Style;
use super::super::super::sheet::Sheet;
use super::{Band, Name, Raised, Stand, places};

/// Where a name may stand, the plainest first.
const STANDS: [Stand; 3] = [Stand::Middle, Stand::Start, Stand::End];

/// More names than these are not tried: nobody would read so many above one another.
const MOST_NAMES: usize = 8;

/// Places are tried up to so many times: far more than the names of a boot need, and soon done.
const MOST_TRIES: usize = 20_000;

/// The names of all bands in `order` above the ribbon, none crossed by another or its leader; `None` where there is no room
/// for all of them.
pub(super) fn all_raised(
    raised: &[Raised],
    sheet: &Sheet,
    style: Style,
    (all, order): (&[Band], &[usize]),
    (time, most_rows): (TimeAxis, i32),
) -> Option<Vec<Raised>> {
    if order.len() > MOST_NAMES {
        return None;
    }
    let of = |index: &usize| {
        let band = &all[*index];
        let name = Name { text: &band.name, span: band.span(), trouble: band.trouble };
        places(sheet, style, (name, &STANDS), (time, most_rows))
    };
    let choices: Vec<Vec<Raised>> = order.iter().map(of).collect();
    let mut found = raised.to_vec();
    let mut tries = 0;
    set(&choices, sheet.u(super::SPACE), &mut found, &mut tries).then_some(found)
}

/// Sets the first name in each of its places until all others find theirs.
fn set(choices: &[Vec<Raised>], space: i32, found: &mut Vec<Raised>, tries: &mut usize) -> bool {
    let Some((first, rest)) = choices.split_first() else { return true };
    for place in first {
        *tries += 1;
        if *tries > MOST_TRIES {
            return false;
        }
        if found.iter().all(|other| place.is_clear_of(other, space)) {
            found.push(place.clone());
            if set(rest, space, found, tries) {
                return true;
            }
            found.pop();
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::super::super::super::fixtures::{finding, phase, profile, trace};
    use super::super::super::super::options::{Options, Size};
    use super::super::super::Subject;
    use super::super::{Bands, MOST_ROWS};
    use super::*;

    #[test]
    fn a_short_stage_has_its_name_above_it_where_there_is_room_in_any_order() {
        // A run of a minute on a small figure: three stages within five seconds.
        let ends = [
            ("off", 2.9),
            ("standby", 8.1),
            ("rails", 8.6),
            ("loader", 10.1),
            ("firmware", 13.6),
            ("system", 61.75),
        ];
        let mut start = 0.0;
        let phases = ends.map(|(name, end)| phase(name, std::mem::replace(&mut start, end), end));
        let finding = finding(phases.to_vec());
        let (trace, profile) = (trace(618, 61.75, |_| 0.5), profile());
        let size = Size::new(480, 360).unwrap();
        let sheet = Sheet::new(&Options { size, ..Options::default() }, (440.0, 560.0));
        let time = TimeAxis { left: 50, right: 465, from: 0.0, to: 61.75 };
        let bands = Bands::new(
            &sheet,
            &Subject { trace: &trace, profile: Some(&profile), finding: &finding },
            (time, MOST_ROWS),
        );
        assert_eq!(bands.blank(&sheet), None, "{:?}", bands.raised);
        let space = sheet.u(super::super::SPACE);
        for (index, name) in bands.raised.iter().enumerate() {
            assert!(bands.raised[..index].iter().all(|other| name.is_clear_of(other, space)), "{name:?}");
        }
    }
}
