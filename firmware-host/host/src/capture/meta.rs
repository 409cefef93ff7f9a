//! The metadata of a SigMF 1.2 recording (the parts coilrig reads and writes;
//! whatever else a file holds is kept as it stands).

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// Version of SigMF that coilrig writes.
pub const SIGMF_VERSION: &str = "1.2.0";
/// Version of the `coilrig` extension namespace.
pub const EXTENSION_VERSION: &str = "1.0.0";

/// The whole `.sigmf-meta` document.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Meta {
    /// What holds for the recording as a whole.
    pub global: Global,
    /// Segments of gapless samples, in order of `core:sample_start`.
    pub captures: Vec<Segment>,
    /// Marked stretches, in order of `core:sample_start`.
    pub annotations: Vec<Annotation>,
    #[serde(flatten)]
    #[allow(missing_docs)]
    pub other: Map<String, Value>,
}

/// The `global` object.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Global {
    /// `ci16_le` or `cf32_le`.
    #[serde(rename = "core:datatype")]
    pub datatype: String,
    /// Nominal complex samples per second and channel.
    #[serde(rename = "core:sample_rate", skip_serializing_if = "Option::is_none")]
    pub sample_rate_hz: Option<f64>,
    /// Version of the SigMF specification.
    #[serde(rename = "core:version")]
    pub version: String,
    /// Channels, 1 when absent; axes x, y, z when 3.
    #[serde(rename = "core:num_channels", skip_serializing_if = "Option::is_none")]
    pub num_channels: Option<usize>,
    /// Program that wrote the recording.
    #[serde(rename = "core:recorder", skip_serializing_if = "Option::is_none")]
    pub recorder: Option<String>,
    /// Hardware that took the samples.
    #[serde(rename = "core:hw", skip_serializing_if = "Option::is_none")]
    pub hardware: Option<String>,
    /// Extension namespaces in use.
    #[serde(rename = "core:extensions", skip_serializing_if = "Option::is_none")]
    pub extensions: Option<Vec<Extension>>,
    /// RMS field in A/m per count of complex magnitude, one per channel.
    #[serde(rename = "coilrig:field_per_count", skip_serializing_if = "Option::is_none")]
    pub field_per_count: Option<Vec<f64>>,
    /// Relative standard uncertainty of each `field_per_count`.
    #[serde(rename = "coilrig:field_per_count_u_rel", skip_serializing_if = "Option::is_none")]
    pub field_per_count_u_rel: Option<Vec<f64>>,
    /// Part of each `field_per_count_u_rel` that all channels share; all of it when
    /// absent.
    #[serde(rename = "coilrig:field_per_count_u_common_rel")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_per_count_u_common_rel: Option<f64>,
    /// Error of the receiver's clock, positive when it runs fast.
    #[serde(rename = "coilrig:clock_offset_ppm", skip_serializing_if = "Option::is_none")]
    pub clock_offset_ppm: Option<f64>,
    /// Standard uncertainty of `clock_offset_ppm`.
    #[serde(rename = "coilrig:clock_offset_u_ppm", skip_serializing_if = "Option::is_none")]
    pub clock_offset_u_ppm: Option<f64>,
    /// 3 × 3 row-major matrix from channel fields to orthogonal components.
    #[serde(rename = "coilrig:axes", skip_serializing_if = "Option::is_none")]
    pub axes: Option<Value>,
    /// Day, last day and method of the calibration that the values above are of.
    #[serde(rename = "coilrig:calibration", skip_serializing_if = "Option::is_none")]
    pub calibration: Option<CalibrationMade>,
    /// Serial number of the receiver.
    #[serde(rename = "coilrig:receiver", skip_serializing_if = "Option::is_none")]
    pub receiver: Option<String>,
    /// Gain step of the receiver.
    #[serde(rename = "coilrig:gain_step", skip_serializing_if = "Option::is_none")]
    pub gain_step: Option<u8>,
    /// Temperature of the unit under test, °C.
    #[serde(rename = "coilrig:temperature_c", skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Name of the unit under test.
    #[serde(rename = "coilrig:unit", skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Free text.
    #[serde(rename = "coilrig:note", skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    #[serde(flatten)]
    #[allow(missing_docs)]
    pub other: Map<String, Value>,
}

/// Where the calibration of a capture comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationMade {
    /// Day, ISO 8601.
    pub date: String,
    /// Last day on which it counts, ISO 8601.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires: Option<String>,
    /// How it was done.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// Degrees of freedom of each `field_per_count_u_rel`, null for one that is not
    /// doubted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_degrees_of_freedom: Option<Vec<Option<f64>>>,
    /// Degrees of freedom of `clock_offset_u_ppm`; absent when it is not doubted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_degrees_of_freedom: Option<f64>,
    /// Standard uncertainty of each element of `axes`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axes_u: Option<[[f64; 3]; 3]>,
    #[serde(flatten)]
    #[allow(missing_docs)]
    pub other: Map<String, Value>,
}

/// One entry of `core:extensions`.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Extension {
    /// Namespace.
    pub name: String,
    /// Version of the namespace.
    pub version: String,
    /// Whether a reader can do without it.
    pub optional: bool,
}

impl Extension {
    /// The declaration of coilrig's own namespace.
    pub fn coilrig() -> Self {
        Self { name: "coilrig".into(), version: EXTENSION_VERSION.into(), optional: true }
    }
}

/// One entry of `captures`: a stretch of samples without a gap.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Segment {
    /// Index of the first sample in the data file.
    #[serde(rename = "core:sample_start")]
    pub sample_start: u64,
    /// Index of that sample in the receiver's own count, lost samples included.
    #[serde(rename = "core:global_index", skip_serializing_if = "Option::is_none")]
    pub global_index: Option<u64>,
    /// Radio frequency at 0 Hz of the baseband.
    #[serde(rename = "core:frequency", skip_serializing_if = "Option::is_none")]
    pub frequency_hz: Option<f64>,
    /// UTC time of the first sample, ISO 8601.
    #[serde(rename = "core:datetime", skip_serializing_if = "Option::is_none")]
    pub datetime: Option<String>,
    #[serde(flatten)]
    #[allow(missing_docs)]
    pub other: Map<String, Value>,
}

/// One entry of `annotations`.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Annotation {
    /// First sample of the stretch, in the data file.
    #[serde(rename = "core:sample_start")]
    pub sample_start: u64,
    /// Length of the stretch.
    #[serde(rename = "core:sample_count", skip_serializing_if = "Option::is_none")]
    pub sample_count: Option<u64>,
    /// Lower edge of the band, Hz.
    #[serde(rename = "core:freq_lower_edge", skip_serializing_if = "Option::is_none")]
    pub freq_lower_edge_hz: Option<f64>,
    /// Upper edge of the band, Hz.
    #[serde(rename = "core:freq_upper_edge", skip_serializing_if = "Option::is_none")]
    pub freq_upper_edge_hz: Option<f64>,
    /// Program that made the annotation.
    #[serde(rename = "core:generator", skip_serializing_if = "Option::is_none")]
    pub generator: Option<String>,
    /// Short name shown beside the stretch.
    #[serde(rename = "core:label", skip_serializing_if = "Option::is_none")]
    pub label: Option<String>,
    /// Longer text.
    #[serde(rename = "core:comment", skip_serializing_if = "Option::is_none")]
    pub comment: Option<String>,
    #[serde(flatten)]
    #[allow(missing_docs)]
    pub other: Map<String, Value>,
}

/// The pair of files of a recording: `NAME.sigmf-meta` and `NAME.sigmf-data`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Paths {
    /// The metadata file.
    pub meta: PathBuf,
    /// The sample file.
    pub data: PathBuf,
}

impl Paths {
    /// Both paths from either of them, or from the name without an ending.
    pub fn of(path: &Path) -> Self {
        let is_part = path.extension().is_some_and(|e| e == "sigmf-meta" || e == "sigmf-data");
        let stem = if is_part { path.with_extension("") } else { path.to_owned() };
        let with = |ending: &str| {
            let mut name = stem.clone().into_os_string();
            name.push(ending);
            PathBuf::from(name)
        };
        Self { meta: with(".sigmf-meta"), data: with(".sigmf-data") }
    }
}
