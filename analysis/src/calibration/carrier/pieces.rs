//! A carrier in pieces of a quarter of a second, each turned back by the frequency
//! that they have in common.

use std::f64::consts::TAU;

use num_complex::Complex64;

use crate::calibration::slow::Slow;

/// Length of a piece.
pub(super) const PIECE_S: f64 = 0.25;

/// Mean of a quarter of a second in units of its noise.
pub(super) struct Piece {
    pub(super) time_s: f64,
    /// Whether it follows on the one before without a gap.
    pub(super) follows: bool,
    pub(super) vector: [Complex64; 3],
}

/// Frequency over time that the pieces are turned back by.
#[derive(Clone, Copy, Debug)]
pub(super) struct Course {
    /// From 457 kHz, at `middle_s`.
    pub(super) offset_hz: f64,
    drift_hz_per_s: f64,
    middle_s: f64,
}

impl Course {
    fn phasor(&self, time_s: f64) -> Complex64 {
        let since_s = time_s - self.middle_s;
        let cycles = self.offset_hz * since_s + 0.5 * self.drift_hz_per_s * since_s * since_s;
        Complex64::cis(TAU * cycles.fract())
    }

    pub(super) fn offset_at(&self, time_s: f64) -> f64 {
        self.offset_hz + self.drift_hz_per_s * (time_s - self.middle_s)
    }
}

pub(super) struct Pieces {
    pub(super) list: Vec<Piece>,
    pub(super) course: Course,
    pub(super) length_s: f64,
}

impl Pieces {
    /// The pieces about a carrier near `offset_hz`, in units of their noise.
    pub(super) fn about(offset_hz: f64, slow: &Slow, noise: &[f64; 3]) -> Self {
        let length = (PIECE_S * slow.rate_hz()) as usize;
        let mut course = Course { offset_hz, drift_hz_per_s: 0.0, middle_s: middle_s(slow) };
        // A window's cell is half a hertz wide at most; a piece tells four apart.
        for _ in 0..3 {
            let pieces = Self::cut(slow, course, length, noise);
            course.offset_hz += pieces.turn() / (TAU * pieces.length_s);
            course.drift_hz_per_s += pieces.bend();
        }
        Self::cut(slow, course, length, noise)
    }

    fn cut(slow: &Slow, course: Course, length: usize, noise: &[f64; 3]) -> Self {
        let rate_hz = slow.rate_hz();
        // Noise power of the mean of a piece.
        let scale: [f64; 3] = noise.map(|n| (n / length as f64).sqrt().recip());
        let mut list = Vec::new();
        for stretch in slow.stretches() {
            for (i, frames) in stretch.frames.chunks_exact(length).enumerate() {
                let start_s = stretch.start_s + (i * length) as f64 / rate_hz;
                let mut sum = [Complex64::ZERO; 3];
                for (n, frame) in frames.iter().enumerate() {
                    let back = course.phasor(start_s + n as f64 / rate_hz).conj();
                    sum.iter_mut().zip(frame).for_each(|(s, z)| *s += z * back);
                }
                let mean = |a: usize| sum[a] * scale[a] / length as f64;
                let vector =
                    std::array::from_fn(
                        |a| if a < slow.axes() { mean(a) } else { Complex64::ZERO },
                    );
                let time_s = start_s + 0.5 * length as f64 / rate_hz;
                list.push(Piece { time_s, follows: i > 0, vector });
            }
        }
        Self { list, course, length_s: length as f64 / rate_hz }
    }

    /// For neighbours without a gap: middle time, and product that has the turn of
    /// the phase from one to the other.
    fn turns(&self) -> impl Iterator<Item = (f64, Complex64)> + '_ {
        let product = |pair: &[Piece]| -> Complex64 {
            let both = pair[0].vector.iter().zip(&pair[1].vector);
            both.map(|(a, b)| a.conj() * b).sum()
        };
        let neighbours = self.list.windows(2).filter(|pair| pair[1].follows);
        neighbours.map(move |pair| (0.5 * (pair[0].time_s + pair[1].time_s), product(pair)))
    }

    /// Mean turn of the phase from one piece to the next.
    fn turn(&self) -> f64 {
        self.turns().map(|t| t.1).sum::<Complex64>().arg()
    }

    /// Rate of change of the frequency that the turns show, Hz/s.
    fn bend(&self) -> f64 {
        let mean = Complex64::cis(-self.turn());
        let (mut products, mut squares) = (0.0, 0.0);
        for (time_s, turn) in self.turns() {
            let since_s = time_s - self.course.middle_s;
            products += since_s * (turn * mean).arg();
            squares += since_s * since_s;
        }
        products / squares / (TAU * self.length_s)
    }
}

/// Middle of the capture.
fn middle_s(slow: &Slow) -> f64 {
    let last = slow.stretches().iter().rfind(|s| !s.frames.is_empty());
    let end_s = last.map_or(0.0, |s| s.start_s + s.frames.len() as f64 / slow.rate_hz());
    0.5 * end_s
}
