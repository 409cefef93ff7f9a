//! What a stream of samples is, and what its counts mean.

use crate::signal::CARRIER_HZ;

/// Shape of a stream of complex baseband samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StreamFormat {
    /// Nominal complex samples per second and axis.
    pub sample_rate_hz: f64,
    /// Radio frequency at 0 Hz of the baseband.
    pub tuned_hz: f64,
    /// Number of axes, 1 or 3; samples are interleaved by axis.
    pub axes: usize,
}

/// Why a stream cannot be analysed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FormatError {
    /// Only one or three coils make sense.
    #[error("has {0} channels; a receiver has 1 or 3")]
    Axes(usize),
    /// Below 1 kS/s the edges of a pulse are lost, above 250 kS/s nothing is won.
    #[error("has a sample rate of {0} Hz; 1 kHz to 250 kHz can be analysed")]
    SampleRate(f64),
    /// 457 kHz must lie in the recorded band.
    #[error("is tuned to {tuned_hz} Hz with {rate_hz} Hz of bandwidth, which leaves 457 kHz out")]
    Tuning {
        /// Centre of the recorded band.
        tuned_hz: f64,
        /// Its width.
        rate_hz: f64,
    },
    /// An entry per channel is needed.
    #[error("gives {found} values in `{name}` for {axes} channels")]
    CalibrationLength {
        /// Field of the calibration.
        name: &'static str,
        /// Values given.
        found: usize,
        /// Values needed.
        axes: usize,
    },
    /// A factor that cannot be one.
    #[error("gives {value} in `{name}`, which must be {need}")]
    CalibrationValue {
        /// Field of the calibration.
        name: &'static str,
        /// Value given.
        value: f64,
        /// What it must be.
        need: &'static str,
    },
}

impl StreamFormat {
    /// Check the shape, naming the first thing that is wrong with it.
    pub fn check(&self) -> Result<(), FormatError> {
        if self.axes != 1 && self.axes != 3 {
            return Err(FormatError::Axes(self.axes));
        }
        if !(1_000.0..=250_000.0).contains(&self.sample_rate_hz) {
            return Err(FormatError::SampleRate(self.sample_rate_hz));
        }
        let offset_hz = (self.tuned_hz - CARRIER_HZ).abs();
        let seen_hz = 0.45 * self.sample_rate_hz;
        // Units may be off by 100 Hz; the outermost tenth is where filters fall off.
        if offset_hz.is_nan() || offset_hz + 100.0 > seen_hz {
            return Err(FormatError::Tuning {
                tuned_hz: self.tuned_hz,
                rate_hz: self.sample_rate_hz,
            });
        }
        Ok(())
    }
}

const IDENTITY: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// What turns counts into fields and nominal into true time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Calibration {
    /// RMS field in A/m per count of complex magnitude, one per channel.
    pub field_per_count: Option<Vec<f64>>,
    /// Relative standard uncertainty of each `field_per_count`.
    pub field_per_count_u_rel: Option<Vec<f64>>,
    /// Part of each `field_per_count_u_rel` that all channels share, as the current
    /// of the loop that all were calibrated in. None shared when absent.
    pub field_per_count_u_common_rel: Option<f64>,
    /// Error of the receiver's clock in ppm, positive when it runs fast.
    pub clock_offset_ppm: Option<f64>,
    /// Standard uncertainty of `clock_offset_ppm`.
    pub clock_offset_u_ppm: Option<f64>,
    /// Row-major matrix from channel fields to orthogonal components.
    pub axes: Option<[[f64; 3]; 3]>,
}

impl Calibration {
    /// Check lengths and ranges against the number of channels.
    pub fn check(&self, axes: usize) -> Result<(), FormatError> {
        let lists = [
            ("field_per_count", &self.field_per_count, "above zero and below 1000"),
            ("field_per_count_u_rel", &self.field_per_count_u_rel, "zero or more, below 1000"),
        ];
        for (name, list, need) in lists {
            let Some(list) = list else { continue };
            if list.len() != axes {
                return Err(FormatError::CalibrationLength { name, found: list.len(), axes });
            }
            let zero_allowed = name == "field_per_count_u_rel";
            // Beyond a thousand it is no factor of anything, and squares overflow.
            let good = |v: f64| v < 1e3 && (v > 1e-30 || (zero_allowed && v == 0.0));
            if let Some(&value) = list.iter().find(|v| !good(**v)) {
                return Err(FormatError::CalibrationValue { name, value, need });
            }
        }
        let common = self.field_per_count_u_common_rel.unwrap_or(0.0);
        let least = self.field_per_count_u_rel.iter().flatten().copied().fold(1e3, f64::min);
        // Rounding of written numbers is no contradiction.
        if !(0.0..=least * (1.0 + 1e-6)).contains(&common) {
            let name = "field_per_count_u_common_rel";
            let need = "zero or more, and no more than any of field_per_count_u_rel";
            return Err(FormatError::CalibrationValue { name, value: common, need });
        }
        let ppm = self.clock_offset_ppm.unwrap_or(0.0);
        if !(-1000.0..1000.0).contains(&ppm) {
            let (name, need) = ("clock_offset_ppm", "between -1000 and 1000");
            return Err(FormatError::CalibrationValue { name, value: ppm, need });
        }
        let u_ppm = self.clock_offset_u_ppm.unwrap_or(0.0);
        if !(0.0..1000.0).contains(&u_ppm) {
            let (name, need) = ("clock_offset_u_ppm", "between 0 and 1000");
            return Err(FormatError::CalibrationValue { name, value: u_ppm, need });
        }
        self.axes.as_ref().map_or(Ok(()), |rows| check_axes(rows, axes))
    }

    /// True over nominal frequency, which is nominal over true time.
    pub fn clock_ratio(&self) -> f64 {
        1.0 + self.clock_offset_ppm.unwrap_or(0.0) * 1e-6
    }

    /// Row-major matrix from channel counts to field components in A/m;
    /// `None` when the capture is not calibrated.
    pub(crate) fn field_matrix(&self, axes: usize) -> Option<[[f64; 3]; 3]> {
        let per_count = self.field_per_count.as_ref()?;
        let rows = self.orthogonal();
        Some(std::array::from_fn(|i| {
            std::array::from_fn(|j| if j < axes { rows[i][j] * per_count[j] } else { 0.0 })
        }))
    }

    /// The same; for a capture that is not calibrated the magnitude stays in counts.
    pub(crate) fn magnitude_matrix(&self, axes: usize) -> [[f64; 3]; 3] {
        self.field_matrix(axes).unwrap_or(IDENTITY)
    }

    /// The axes matrix, identity when not given.
    pub(crate) fn orthogonal(&self) -> [[f64; 3]; 3] {
        self.axes.unwrap_or(IDENTITY)
    }
}

/// Rows of a matrix that turns three channels into three components must be
/// well apart: one that loses a direction makes fields up.
fn check_axes(rows: &[[f64; 3]; 3], channels: usize) -> Result<(), FormatError> {
    let name = "axes";
    if channels != 3 {
        let found = 9;
        return Err(FormatError::CalibrationLength { name, found, axes: channels });
    }
    if let Some(&value) = rows.iter().flatten().find(|v| v.is_nan() || v.abs() >= 1e3) {
        return Err(FormatError::CalibrationValue { name, value, need: "between -1000 and 1000" });
    }
    let determinant = nalgebra::Matrix3::from_fn(|i, j| rows[i][j]).determinant();
    let norms: f64 = rows.iter().map(|r| r.iter().map(|v| v * v).sum::<f64>().sqrt()).product();
    if determinant.abs() > 0.05 * norms && norms > 1e-9 {
        return Ok(());
    }
    let need = "a matrix whose rows point in three directions (this is its determinant)";
    Err(FormatError::CalibrationValue { name, value: determinant, need })
}
