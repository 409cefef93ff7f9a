//! What is to be done again, and when.

/// When something is due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Due {
    /// It was never done, or nobody wrote it down.
    Never,
    /// At this time, s, which may be past.
    At(f64),
}

impl Due {
    /// Whether it is due at `now_s`.
    pub fn now(self, now_s: f64) -> bool {
        match self {
            Self::Never => true,
            Self::At(at_s) => at_s <= now_s,
        }
    }
}

/// When what was done last at `last_s` is due again, every `interval_s`.
pub fn due(last_s: Option<f64>, interval_s: f64) -> Due {
    last_s.map_or(Due::Never, |last| Due::At(last + interval_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_never_done_is_due() {
        assert!(due(None, 10.0).now(-1e9));
        assert_eq!(due(Some(5.0), 10.0), Due::At(15.0));
        assert!(due(Some(5.0), 10.0).now(15.0) && !due(Some(5.0), 10.0).now(14.0));
    }
}
