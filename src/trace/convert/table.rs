//! The table in a foreign file: what separates cells, where its names stand, its rows.

use super::ConvertError;
use super::columns::Unit;

/// How many lines are looked at to find out how a file is written.
const SAMPLE_LINES: usize = 400;
/// The most cells that a row can have.
const MOST_CELLS: usize = 1024;
/// How many of the sampled lines have to agree on the number of cells, per cent: preambles and footers do not.
const AGREE_PERCENT: usize = 50;

/// How a file's table is written.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table {
    pub(super) separator: char,
    /// Column names; empty if the file has none.
    pub(super) names: Vec<String>,
    /// Number of cells a row.
    pub(super) count: usize,
    /// Index of the first line of data, from 0.
    pub(super) first: usize,
}

/// The cells of a line, by the quoting rules of RFC 4180; blanks as a separator may repeat.
pub(super) fn cells(line: &str, separator: char) -> Vec<String> {
    if separator == ' ' {
        return line.split_whitespace().map(str::to_owned).collect();
    }
    let mut cells = vec![String::new()];
    let mut quoted = false;
    let mut characters = line.chars().peekable();
    while let Some(c) = characters.next() {
        let cell = cells.last_mut().map_or(0, |cell| cell.len());
        match c {
            '"' if quoted && characters.peek() == Some(&'"') => {
                characters.next();
                push(&mut cells, '"');
            }
            '"' if quoted || cell == 0 => quoted = !quoted,
            c if c == separator && !quoted => cells.push(String::new()),
            c => push(&mut cells, c),
        }
    }
    cells
}

fn push(cells: &mut [String], c: char) {
    if let Some(cell) = cells.last_mut() {
        cell.push(c);
    }
}

impl Table {
    /// Finds the table in the lines of a file.
    pub(super) fn find(lines: &[&str], assumed: &mut Vec<String>) -> Result<Self, ConvertError> {
        let sample = &lines[..lines.len().min(SAMPLE_LINES)];
        let (separator, count) = separator(sample).ok_or(ConvertError::NoTable)?;
        if count > MOST_CELLS {
            return Err(ConvertError::TooManyColumns { found: count, most: MOST_CELLS });
        }
        let is_data = |line: &&str| {
            let cells = cells(line, separator);
            cells.len() == count && cells.iter().any(|cell| starts_like_a_number(cell))
        };
        let first = sample.iter().position(is_data).ok_or(ConvertError::NoTable)?;
        let names = names_above(&sample[..first], separator, count);
        assumed.push(format!("cells are separated by {}", separator_name(separator)));
        if names.is_empty() && first > 0 {
            assumed.push(format!("the first {first} lines are no part of the table"));
        }
        Ok(Self { separator, names, count, first })
    }
}

fn separator_name(separator: char) -> &'static str {
    match separator {
        '\t' => "tabs",
        ';' => "semicolons",
        '|' => "bars",
        ' ' => "blanks",
        _ => "commas",
    }
}

/// The separator and the number of cells: the first that most lines agree on, those that decimals cannot contain first.
fn separator(sample: &[&str]) -> Option<(char, usize)> {
    ['\t', ';', '|', ',', ' '].into_iter().find_map(|separator| {
        let mut counts: Vec<usize> = sample
            .iter()
            .filter(|line| !line.trim().is_empty())
            .map(|line| cells(line, separator).len())
            .collect();
        counts.sort_unstable();
        let all = counts.len();
        let runs = counts.chunk_by(|a, b| a == b);
        let (count, lines) = runs.map(|run| (run[0], run.len())).max_by_key(|(_, lines)| *lines)?;
        (count > 1 && lines * 100 >= all * AGREE_PERCENT).then_some((separator, count))
    })
}

fn starts_like_a_number(cell: &str) -> bool {
    let cell = cell.trim().trim_start_matches(['+', '-', '\u{2212}', '.', ',']);
    cell.starts_with(|c: char| c.is_ascii_digit())
}

/// The column names in the lines above the data: the last line with as many cells, and a line of units below it.
fn names_above(above: &[&str], separator: char, count: usize) -> Vec<String> {
    let mut rows = above
        .iter()
        .rev()
        .map(|line| line.trim_start_matches(['#', '%']))
        .filter(|line| !line.trim().is_empty());
    let trimmed = |line: &str| -> Vec<String> {
        cells(line, separator).iter().map(|cell| cell.trim().to_owned()).collect()
    };
    let Some(last) = rows.next().map(trimmed).filter(|row| row.len() == count) else { return Vec::new() };
    let is_unit = |cell: &String| Unit::named(cell.trim_matches(['[', ']', '(', ')'])).is_some();
    let units = last.iter().all(|cell| cell.is_empty() || is_unit(cell)) && last.iter().any(is_unit);
    match rows.next().map(trimmed).filter(|row| units && row.len() == count) {
        Some(names) => {
            names.iter().zip(&last).map(|(name, unit)| format!("{name} {unit}").trim().to_owned()).collect()
        }
        None => last,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn find(text: &str) -> Table {
        Table::find(&text.lines().collect::<Vec<_>>(), &mut Vec::new()).unwrap()
    }

    #[test]
    fn separators_are_told_from_decimal_commas() {
        assert_eq!(find("t;U;I\n0,5;12,8;0,024\n1,0;12,8;0,024\n").separator, ';');
        assert_eq!(find("t\tU\tI\n0,5\t12,8\t0,024\n").separator, '\t');
        assert_eq!(find("0.0  12.8   0.02\n0.1  12.8  0.02\n").separator, ' ');
        assert_eq!(cells("\"12,8\",\"a \"\"b\"\"\",", ','), ["12,8", "a \"b\"", ""]);
    }

    #[test]
    fn names_are_found_below_a_preamble_and_joined_with_their_units() {
        let table = find(
            "Logger 3\n\n# taken, by hand\n# Time,Voltage,Current\n(s),(V),(mA)\n0,12.8,24\n1,12.8,24\n2,12.8,24\n3,12.8,24\n4,1,1\n",
        );
        assert_eq!(
            (table.names, table.first),
            (["Time (s)", "Voltage (V)", "Current (mA)"].map(String::from).to_vec(), 5)
        );
        assert!(find("0,1,2\n1,1,2\n").names.is_empty());
    }
}
