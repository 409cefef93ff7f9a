//! The analysis of a stream as one.

use num_complex::Complex32;

use super::analysis::{Analysis, Event};
use super::conditioner::Conditioner;
use super::format::{Calibration, FormatError, StreamFormat};
use super::measurement::Measurement;

/// Streaming analysis of one capture. See the module's documentation.
pub struct Analyser {
    axes: usize,
    conditioner: Conditioner,
    analysis: Analysis,
}

impl Analyser {
    /// An analysis of a stream of this shape.
    ///
    /// # Errors
    /// A format or calibration that cannot be one, with the reason.
    pub fn new(format: StreamFormat, calibration: Calibration) -> Result<Self, FormatError> {
        let analysis = Analysis::new(format, calibration)?;
        let conditioner = Conditioner::new(&format);
        Ok(Self { axes: format.axes, conditioner, analysis })
    }

    /// Say that each part of each sample was rounded to a multiple of `step`
    /// counts: no axis can be quieter than that, even one that shows nothing.
    pub fn quantised(mut self, step: f64) -> Self {
        self.analysis.set_quantum(step);
        self
    }

    /// The two parts, for a core each: what the first gives is pushed into the
    /// second, in order.
    pub fn split(self) -> (Conditioner, Analysis) {
        (self.conditioner, self.analysis)
    }

    /// Take in samples, interleaved by axis (a whole number of frames).
    pub fn push(&mut self, samples: &[Complex32], on_event: &mut dyn FnMut(Event)) {
        // Pieces bound the memory between the two parts.
        for piece in samples.chunks(self.axes << 13) {
            self.conditioner.push(piece, self.analysis.fine());
            self.analysis.go_on((piece.len() / self.axes) as u64, on_event);
        }
    }

    /// `missing` samples per axis were lost here.
    pub fn gap(&mut self, missing: u64, on_event: &mut dyn FnMut(Event)) {
        self.conditioner.finish(self.analysis.fine());
        self.analysis.gap(&[], missing, on_event);
    }

    /// End of the capture: analyse what is still inside and sum up.
    pub fn finish(mut self, on_event: &mut dyn FnMut(Event)) -> Measurement {
        self.conditioner.finish(self.analysis.fine());
        self.analysis.finish(&[], on_event)
    }

    /// What is known so far.
    pub fn measurement(&self) -> Measurement {
        self.analysis.measurement()
    }

    /// Pulses found so far, whether or not they belong to a train.
    pub fn pulses_found(&self) -> u64 {
        self.analysis.pulses_found()
    }
}
