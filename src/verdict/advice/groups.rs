//! The checks of a finding as a person reads them: those of the profile, then common practice, each said once.

use super::COMMON;
use crate::verdict::Finding;

/// Checks under one heading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckGroup<'a> {
    /// What they are, and where they come from.
    pub heading: &'static str,
    /// The checks, without the mark that says where they come from.
    pub checks: Vec<&'a str>,
}

impl Finding {
    /// The checks under the headings that say where they come from: the profile's own, then those that are common
    /// practice and not of this board. In [`Finding::next_checks`] each of the latter is marked.
    #[must_use]
    pub fn grouped_checks(&self) -> Vec<CheckGroup<'_>> {
        let (common, own): (Vec<&str>, Vec<&str>) =
            self.next_checks.iter().map(String::as_str).partition(|check| check.ends_with(COMMON));
        let of_common =
            if own.is_empty() { "Check next (common practice)" } else { "Then (common practice)" };
        let common = common.into_iter().map(|check| check.strip_suffix(COMMON).unwrap_or(check)).collect();
        let groups = [
            CheckGroup { heading: "Check next", checks: own },
            CheckGroup { heading: of_common, checks: common },
        ];
        groups.into_iter().filter(|group| !group.checks.is_empty()).collect()
    }
}
