//! Whole words of a free text: `program` holds no `ram`.

/// The words of a text, in lower case.
pub(super) struct Words(Vec<String>);

impl Words {
    pub(super) fn of(text: &str) -> Self {
        let lower = text.to_lowercase();
        let words = lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
        Self(words.map(strip_figures).map(str::to_owned).collect())
    }

    pub(super) fn any(&self, wanted: &[&str]) -> bool {
        self.0.iter().any(|word| wanted.contains(&word.as_str()))
    }
}

/// `ddr4` is a kind of `ddr`.
fn strip_figures(word: &str) -> &str {
    let bare = word.trim_end_matches(|c: char| c.is_ascii_digit());
    if bare.is_empty() { word } else { bare }
}

#[cfg(test)]
mod tests {
    use super::Words;

    #[test]
    fn whole_words_count_and_parts_of_them_do_not() {
        assert!(Words::of("Memory-training, DDR4").any(&["ddr"]));
        assert!(Words::of("the RAM test").any(&["ram"]));
        assert!(!Words::of("program, drivers").any(&["ram", "drive"]));
    }
}
