//! Which samples are missing.

use std::time::Duration;

use super::{Cause, Gap};

/// Keeps count of the samples of a stream, over restarts of the receiver.
#[derive(Clone, Debug)]
pub(super) struct Count {
    sample_rate_hz: u32,
    /// What the receiver's next packet will say if nothing is lost.
    due_index: u64,
    due_sequence: u32,
    /// What to add to the receiver's count; not 0 once it has restarted.
    offset: u64,
    /// When the last samples arrived, since the start of the stream.
    last_at: Duration,
}

impl Count {
    /// The count of a receiver that was just started.
    pub(super) fn new(sample_rate_hz: u32) -> Self {
        Self { sample_rate_hz, due_index: 0, due_sequence: 0, offset: 0, last_at: Duration::ZERO }
    }

    /// Place a packet of `length` samples per axis that arrived `at` after the
    /// start: its index in the stream, and the gap before it.
    pub(super) fn place(
        &mut self,
        sequence: u32,
        first_index: u64,
        length: u64,
        at: Duration,
    ) -> (u64, Option<Gap>) {
        let due = self.due_index.saturating_add(self.offset);
        let gap = |missing, cause| Some(Gap { from_index: due, missing, cause });
        let gap = if first_index < self.due_index {
            let missing = self.estimate_missing(length, at);
            self.offset = due + missing - first_index;
            gap(missing, Cause::Restart)
        } else if first_index > self.due_index {
            let was_sent = sequence != self.due_sequence;
            let cause = if was_sent { Cause::Cable } else { Cause::Receiver };
            gap(first_index - self.due_index, cause)
        } else {
            None
        };
        self.due_index = first_index.saturating_add(length);
        self.due_sequence = sequence.wrapping_add(1);
        self.last_at = at;
        (first_index.saturating_add(self.offset), gap)
    }

    /// Samples that passed since the last ones, those of the packet itself left
    /// out; at least one, since the stream is broken there.
    fn estimate_missing(&self, length: u64, at: Duration) -> u64 {
        let passed = at.saturating_sub(self.last_at).as_secs_f64() * f64::from(self.sample_rate_hz);
        (passed.round() as u64).saturating_sub(length).max(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn ms(ms: u64) -> Duration {
        Duration::from_millis(ms)
    }

    #[test]
    fn without_loss_there_is_no_gap() {
        let mut count = Count::new(8000);
        for packet in 0..5u32 {
            let index = u64::from(packet) * 160;
            assert_eq!(count.place(packet, index, 160, ms(20 * index)), (index, None));
        }
    }

    #[test]
    fn a_gap_is_exact_and_says_where_it_arose() {
        let mut count = Count::new(8000);
        count.place(0, 0, 160, ms(20));
        let cable = Gap { from_index: 160, missing: 320, cause: Cause::Cable };
        assert_eq!(count.place(3, 480, 160, ms(80)), (480, Some(cable)));
        let receiver = Gap { from_index: 640, missing: 7, cause: Cause::Receiver };
        assert_eq!(count.place(4, 647, 160, ms(101)), (647, Some(receiver)));
    }

    #[test]
    fn packets_lost_before_the_first_one_are_missing_too() {
        let mut count = Count::new(8000);
        let gap = Gap { from_index: 0, missing: 160, cause: Cause::Cable };
        assert_eq!(count.place(1, 160, 160, ms(40)), (160, Some(gap)));
    }

    #[test]
    fn a_restart_is_bridged_by_the_time_that_passed() {
        let mut count = Count::new(8000);
        count.place(0, 0, 160, ms(20));
        count.place(1, 160, 160, ms(40));
        // 1 s later the receiver begins anew; 20 ms of it are the packet itself.
        let gap = Gap { from_index: 320, missing: 7840, cause: Cause::Restart };
        assert_eq!(count.place(0, 0, 160, ms(1040)), (8160, Some(gap)));
        assert_eq!(count.place(1, 160, 160, ms(1060)), (8320, None));
        let cable = Gap { from_index: 8480, missing: 160, cause: Cause::Cable };
        assert_eq!(count.place(3, 480, 160, ms(1100)), (8640, Some(cable)));
    }

    #[test]
    fn a_restart_is_a_gap_even_when_no_time_passed() {
        let mut count = Count::new(8000);
        count.place(0, 0, 160, ms(20));
        let gap = Gap { from_index: 160, missing: 1, cause: Cause::Restart };
        assert_eq!(count.place(0, 0, 160, ms(21)), (161, Some(gap)));
    }
}
