//! Numbers as tall as five lines, to be read from across the bench.

/// Lines of a tall text.
pub(super) const LINES: usize = 5;
/// Columns of a digit.
const WIDTH: usize = 5;

/// Segments of a digit as on a seven-segment display: top, upper right, lower right, bottom, lower left, upper left,
/// middle.
const DIGITS: [&str; 10] =
    ["abcdef", "bc", "abged", "abgcd", "fgbc", "afgcd", "afgedc", "abc", "abcdefg", "abcfgd"];

/// Letters of the units that readings have.
const LETTERS: [(char, [&str; LINES]); 4] = [
    ('V', ["#   #", "#   #", "#   #", " # # ", "  #  "]),
    ('A', [" ### ", "#   #", "#####", "#   #", "#   #"]),
    ('m', ["", "", "## # ", "# # #", "# # #"]),
    ('µ', ["", "#  # ", "#  # ", "### #", "#    "]),
];

/// `text` in lines of `ink`; `None` for a text with anything but digits, signs and the units of readings in it.
pub(super) fn tall(text: &str, ink: char) -> Option<[String; LINES]> {
    let mut lines = [const { String::new() }; LINES];
    for letter in text.chars() {
        let glyph = glyph(letter)?;
        for (line, row) in lines.iter_mut().zip(&glyph) {
            line.extend(row.chars().map(|dot| if dot == '#' { ink } else { ' ' }));
            line.push(' ');
        }
    }
    Some(lines)
}

fn glyph(letter: char) -> Option<[String; LINES]> {
    let rows = |rows: [&str; LINES], width: usize| rows.map(|row| format!("{row:<width$}"));
    match letter {
        ' ' => Some(rows([""; LINES], 1)),
        '.' => Some(rows(["", "", "", "", "#"], 1)),
        '-' => Some(rows(["", "", "#####", "", ""], WIDTH)),
        digit if digit.is_ascii_digit() => {
            let segments = DIGITS[usize::try_from(digit.to_digit(10)?).ok()?];
            Some(std::array::from_fn(|row| {
                (0..WIDTH).map(|column| if is_lit(segments, row, column) { '#' } else { ' ' }).collect()
            }))
        }
        letter => LETTERS.iter().find(|(name, _)| *name == letter).map(|(_, glyph)| rows(*glyph, WIDTH)),
    }
}

fn is_lit(segments: &str, row: usize, column: usize) -> bool {
    let (left, right) = (column == 0, column == WIDTH - 1);
    segments.chars().any(|segment| match segment {
        'a' => row == 0,
        'g' => row == 2,
        'd' => row == LINES - 1,
        'b' => right && row <= 2,
        'c' => right && row >= 2,
        'e' => left && row >= 2,
        'f' => left && row <= 2,
        _ => false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_tall_and_readable() {
        let lines = tall("2.04 A", '#').unwrap().map(|line| line.trim_end().to_owned());
        insta::assert_snapshot!(lines.join("\n"), @r"
        #####   ##### #   #    ###
            #   #   # #   #   #   #
        #####   #   # #####   #####
        #       #   #     #   #   #
        ##### # #####     #   #   #
        ");
        let digits = tall("0123456789", '#').unwrap();
        let width = digits[0].chars().count();
        assert!(digits.iter().all(|line| line.chars().count() == width));
    }

    #[test]
    fn every_digit_differs_and_what_cannot_be_drawn_is_left_to_the_small_line() {
        let mut drawn: Vec<_> = ('0'..='9').map(|digit| tall(&digit.to_string(), '#')).collect();
        drawn.sort();
        drawn.dedup();
        assert_eq!(drawn.len(), 10);
        assert_eq!(tall("12.8 Ω", '#'), None);
    }
}
