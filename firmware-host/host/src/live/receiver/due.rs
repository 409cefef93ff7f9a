//! How many samples are missing before those that come.

/// Index of the samples that are due; none as long as nothing has come.
#[derive(Default)]
pub(super) struct Due(Option<u64>);

impl Due {
    /// Samples are missing from `from_index` on.
    pub(super) fn gap(&mut self, from_index: u64) {
        self.0.get_or_insert(from_index);
    }

    /// Samples came, `length` from `first_index` on; how many are missing before them.
    pub(super) fn take(&mut self, first_index: u64, length: u64) -> u64 {
        let due = self.0.replace(first_index.saturating_add(length)).unwrap_or(first_index);
        first_index.saturating_sub(due)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_missing_before_the_first_samples_counts() {
        let mut due = Due::default();
        due.gap(100);
        assert_eq!(due.take(160, 80), 60);
        assert_eq!(due.take(240, 80), 0);
        // Told once by the link, and seen in the index too.
        due.gap(320);
        assert_eq!(due.take(400, 80), 80);
    }

    #[test]
    fn a_stream_that_is_joined_late_lacks_nothing() {
        assert_eq!(Due::default().take(8000, 160), 0);
    }
}
