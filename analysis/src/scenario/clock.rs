//! The receiver's clock against true time.

/// Counts samples of a clock that is off by `offset_ppm`.
///
/// A clock that runs fast by e takes `rate · (1 + e)` samples in a true second,
/// and its tuned frequency is really `tuned · (1 + e)`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    rate_hz: f64,
    offset: f64,
}

impl Clock {
    pub(super) fn new(rate_hz: f64, offset_ppm: f64) -> Self {
        Self { rate_hz, offset: offset_ppm * 1e-6 }
    }

    /// Nominal sample rate.
    pub(super) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// True time of sample `n`.
    pub(super) fn time_s(&self, n: u64) -> f64 {
        n as f64 / (self.rate_hz * (1.0 + self.offset))
    }

    /// The first sample at or after true time `time_s`; the last of all when
    /// that never comes.
    pub(super) fn sample_after(&self, time_s: f64) -> u64 {
        (time_s * self.rate_hz * (1.0 + self.offset)).ceil() as u64
    }

    /// True frequency minus the true frequency that `tuned_hz` stands for, when
    /// the true frequency is `tuned_hz + offset_hz`.
    pub(super) fn seen_offset_hz(&self, tuned_hz: f64, offset_hz: f64) -> f64 {
        offset_hz - tuned_hz * self.offset
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fast_clock_sees_carriers_low_and_time_long() {
        let fast = Clock::new(8000.0, 2.0);
        // 2 ppm of 457 kHz, by hand.
        assert!((fast.seen_offset_hz(457e3, 10.0) - (10.0 - 0.914)).abs() < 1e-12);
        assert_eq!(fast.sample_after(1000.0), 8_000_016);
        assert!((fast.time_s(8_000_016) - 1000.0).abs() < 1e-9);
    }
}
