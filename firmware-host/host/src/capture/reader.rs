//! Reads a capture: checks it whole, then streams its samples.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use coilrig_analysis::signal::{Calibration, FormatError, StreamFormat};
use coilrig_analysis::verification::CalibrationDetail;
use num_complex::Complex32;

use crate::calibration::shared_u_rel;
use crate::capture::meta::{Meta, Paths};
use crate::error::{Error, Result};

/// Frames converted at a time.
const PIECE_FRAMES: usize = 2048;

/// A capture that has been checked and can be streamed.
#[derive(Debug)]
pub struct Capture {
    /// Its two files.
    pub paths: Paths,
    /// Its metadata.
    pub meta: Meta,
    /// Shape of its samples.
    pub format: StreamFormat,
    /// What its counts mean.
    pub calibration: Calibration,
    /// How well that is known beyond its standard uncertainties.
    pub detail: CalibrationDetail,
    /// Things a person should know that do not keep it from being used.
    pub warnings: Vec<String>,
    sample: Sample,
    frames: u64,
    /// Frame of the data file at which samples are missing, and how many.
    gaps: Vec<(u64, u64)>,
}

/// What a capture's stream consists of.
pub enum Piece<'a> {
    /// Samples interleaved by axis, whole frames.
    Samples(&'a [Complex32]),
    /// So many samples per axis are missing here.
    Gap(u64),
}

/// Encoding of one complex sample.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Sample {
    Ci16,
    Cf32,
}

impl Sample {
    fn bytes(self) -> usize {
        match self {
            Self::Ci16 => 4,
            Self::Cf32 => 8,
        }
    }
}

impl Capture {
    /// Open the capture that `path` (either file, or the name of both) belongs to.
    pub fn open(path: &Path) -> Result<Self> {
        let paths = Paths::of(path);
        let meta = read_meta(&paths)?;
        let at = |field: &str| format!("{}, {field}", paths.meta.display());
        let sample = match meta.global.datatype.as_str() {
            "ci16_le" => Sample::Ci16,
            "cf32_le" => Sample::Cf32,
            other => {
                let what = format!("is \"{other}\", which coilrig does not read");
                let remedy = "convert the samples to ci16_le or cf32_le";
                return Err(Error::file(at("core:datatype"), what, remedy));
            }
        };
        let sample_rate_hz = meta.global.sample_rate_hz.ok_or_else(|| {
            let remedy = "add the receiver's sample rate in Hz";
            Error::file(at("core:sample_rate"), "is missing", remedy)
        })?;
        let first = meta.captures.first().ok_or_else(|| {
            Error::file(at("captures"), "has no segment", "add one with core:sample_start 0")
        })?;
        let tuned_hz = first.frequency_hz.ok_or_else(|| {
            let remedy = "add the radio frequency that stands at 0 Hz of the samples";
            Error::file(at("captures[0] core:frequency"), "is missing", remedy)
        })?;
        let axes = meta.global.num_channels.unwrap_or(1);
        let format = StreamFormat { sample_rate_hz, tuned_hz, axes };
        let calibration = calibration(&meta, &at)?;
        format.check().and_then(|()| calibration.check(axes)).map_err(|e| {
            let field = match &e {
                FormatError::Axes(_) => "core:num_channels".to_owned(),
                FormatError::SampleRate(_) => "core:sample_rate".to_owned(),
                FormatError::Tuning { .. } => "captures[0] core:frequency".to_owned(),
                FormatError::CalibrationLength { name, .. }
                | FormatError::CalibrationValue { name, .. } => format!("coilrig:{name}"),
            };
            Error::file(at(&field), e.to_string(), "correct the field, or record again")
        })?;
        let mut warnings = Vec::new();
        let frames = count_frames(&paths, sample.bytes() * axes, &mut warnings)?;
        let gaps = gaps(&meta, frames, &format, &at)?;
        let detail = detail(&meta);
        Ok(Self { paths, meta, format, calibration, detail, warnings, sample, frames, gaps })
    }

    /// Take from the metadata anew what its counts mean.
    ///
    /// # Errors
    /// A calibration that is none, with its field.
    pub fn read_calibration(&mut self) -> Result<()> {
        let at = |field: &str| format!("{}, {field}", self.paths.meta.display());
        self.calibration = calibration(&self.meta, &at)?;
        self.detail = detail(&self.meta);
        Ok(())
    }

    /// Counts that the samples were rounded to; `None` for floating point.
    pub fn quantum(&self) -> Option<f64> {
        (self.sample == Sample::Ci16).then_some(1.0)
    }

    /// When the capture was begun, if its metadata say so.
    pub fn started(&self) -> Option<jiff::Timestamp> {
        self.meta.captures.first()?.datetime.as_deref()?.parse().ok()
    }

    /// Frames in the data file.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Frame of the data file that stands at `time_s` nominal seconds of the
    /// capture, samples missing before it taken off.
    pub fn frame_at(&self, time_s: f64) -> u64 {
        let index = (time_s * self.format.sample_rate_hz).round().max(0.0) as u64;
        let mut lost = 0;
        for &(frame, missing) in &self.gaps {
            if index < frame + lost + missing {
                return index.saturating_sub(lost).min(frame);
            }
            lost += missing;
        }
        (index - lost).min(self.frames)
    }

    /// Give all samples and gaps in order.
    ///
    /// # Errors
    /// A data file that cannot be read, or a sample that is not a number.
    pub fn stream(&self, mut take: impl FnMut(Piece<'_>)) -> Result<Streamed> {
        let failed = |e: std::io::Error| Error::io(&self.paths.data, "read", &e);
        let mut file = File::open(&self.paths.data).map_err(failed)?;
        let axes = self.format.axes;
        let frame_bytes = self.sample.bytes() * axes;
        // Aligned for the numbers that the bytes are.
        let mut numbers = vec![0f32; PIECE_FRAMES * frame_bytes / 4];
        let mut samples = Vec::with_capacity(PIECE_FRAMES * axes);
        let mut streamed = Streamed { clipped: 0 };
        let mut at = 0;
        let ends = self.gaps.iter().map(|g| (g.0, Some(g.1))).chain([(self.frames, None)]);
        for (end, missing) in ends {
            while at < end {
                let count = PIECE_FRAMES.min((end - at) as usize);
                let bytes: &mut [u8] = bytemuck::cast_slice_mut(&mut numbers);
                let piece = &mut bytes[..count * frame_bytes];
                file.read_exact(piece).map_err(failed)?;
                samples.clear();
                self.convert(piece, at, &mut samples, &mut streamed)?;
                take(Piece::Samples(&samples));
                at += count as u64;
            }
            if let Some(missing) = missing {
                take(Piece::Gap(missing));
            }
        }
        Ok(streamed)
    }

    fn convert(
        &self,
        bytes: &[u8],
        first: u64,
        samples: &mut Vec<Complex32>,
        streamed: &mut Streamed,
    ) -> Result<()> {
        match self.sample {
            Sample::Ci16 => {
                let parts: &[i16] = bytemuck::cast_slice(bytes);
                let full = |v: i16| v == i16::MAX || v == i16::MIN;
                if parts.iter().fold(false, |any, v| any | full(i16::from_le(*v))) {
                    let clipped = |z: &&[i16]| z.iter().any(|v| full(i16::from_le(*v)));
                    streamed.clipped += parts.chunks_exact(2).filter(clipped).count() as u64;
                }
                let number = |v: i16| f32::from(i16::from_le(v));
                samples.extend(
                    parts.chunks_exact(2).map(|z| Complex32::new(number(z[0]), number(z[1]))),
                );
            }
            Sample::Cf32 => {
                samples.extend(bytes.chunks_exact(8).map(|b| {
                    let part = |i: usize| f32::from_le_bytes([b[i], b[i + 1], b[i + 2], b[i + 3]]);
                    Complex32::new(part(0), part(4))
                }));
                // Squares must be finite too, or one value spoils all sums.
                if let Some(i) = samples.iter().position(|z| !z.norm_sqr().is_finite()) {
                    let (frame, channel) =
                        (first + (i / self.format.axes) as u64, i % self.format.axes);
                    return Err(Error::file(
                        format!("{}, sample {frame}, channel {channel}", self.paths.data.display()),
                        format!("is {}, which is not a number to compute with", samples[i]),
                        "record again, or cut the capture before that sample",
                    ));
                }
            }
        }
        Ok(())
    }
}

/// What was noticed while streaming.
#[derive(Clone, Copy, Debug)]
pub struct Streamed {
    /// Samples at the end of the integer range.
    pub clipped: u64,
}

fn read_meta(paths: &Paths) -> Result<Meta> {
    let text = std::fs::read(&paths.meta).map_err(|e| {
        if e.kind() == std::io::ErrorKind::NotFound && paths.data.exists() {
            let remedy = "put the .sigmf-meta file of the recording beside its data";
            return Error::file(paths.meta.display(), "is missing, only the data is there", remedy);
        }
        Error::io(&paths.meta, "read", &e)
    })?;
    let bad = |place: String, what: String, remedy: &str| Error::file(place, what, remedy);
    let meta: Meta = serde_json::from_slice(&text).map_err(|e| {
        let place = format!("{}, line {}", paths.meta.display(), e.line());
        bad(
            place,
            format!("is not SigMF metadata: {e}"),
            "give a SigMF recording, or mend the line",
        )
    })?;
    let at = |field: &str| format!("{}, {field}", paths.meta.display());
    if !meta.global.version.starts_with("1.") && !meta.global.version.starts_with("0.") {
        let what = format!("is {}, newer than this program", meta.global.version);
        return Err(bad(at("core:version"), what, "update coilrig"));
    }
    let unknown = |e: &&crate::capture::meta::Extension| !e.optional && e.name != "coilrig";
    if let Some(needed) = meta.global.extensions.iter().flatten().find(unknown) {
        let what =
            format!("says that \"{}\" must be understood, which coilrig does not", needed.name);
        return Err(bad(at("core:extensions"), what, "use a program made for that extension"));
    }
    if let Some(i) = meta.captures.iter().position(|s| s.other.contains_key("core:header_bytes")) {
        let what = "has core:header_bytes: bytes that are not samples".to_owned();
        return Err(bad(at(&format!("captures[{i}]")), what, "strip the data file to its samples"));
    }
    Ok(meta)
}

fn calibration(meta: &Meta, at: &dyn Fn(&str) -> String) -> Result<Calibration> {
    let global = &meta.global;
    let axes = global.axes.as_ref().map(|value| {
        matrix(value).ok_or_else(|| {
            let remedy = "give three rows of three numbers, or nine numbers row by row";
            Error::file(at("coilrig:axes"), "is not a 3 × 3 matrix", remedy)
        })
    });
    Ok(Calibration {
        field_per_count: global.field_per_count.clone(),
        field_per_count_u_rel: global.field_per_count_u_rel.clone(),
        field_per_count_u_common_rel: shared_u_rel(
            global.field_per_count_u_common_rel,
            global.field_per_count_u_rel.as_deref().unwrap_or(&[]),
        ),
        clock_offset_ppm: global.clock_offset_ppm,
        clock_offset_u_ppm: global.clock_offset_u_ppm,
        axes: axes.transpose()?,
    })
}

fn detail(meta: &Meta) -> CalibrationDetail {
    let Some(made) = &meta.global.calibration else { return CalibrationDetail::default() };
    let freedom = |stated: &Option<f64>| stated.unwrap_or(f64::INFINITY);
    let of_field = made.field_degrees_of_freedom.as_ref();
    CalibrationDetail {
        field_degrees_of_freedom: of_field.map(|all| all.iter().map(freedom).collect()),
        clock_degrees_of_freedom: made.clock_degrees_of_freedom,
        axes_u: made.axes_u,
    }
}

/// Three rows of three, or nine numbers row by row.
fn matrix(value: &serde_json::Value) -> Option<[[f64; 3]; 3]> {
    serde_json::from_value(value.clone()).ok().or_else(|| {
        let flat: [f64; 9] = serde_json::from_value(value.clone()).ok()?;
        Some(std::array::from_fn(|i| std::array::from_fn(|j| flat[3 * i + j])))
    })
}

fn count_frames(paths: &Paths, frame_bytes: usize, warnings: &mut Vec<String>) -> Result<u64> {
    let size = std::fs::metadata(&paths.data).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => {
            let remedy = "put the .sigmf-data file of the recording beside its metadata";
            Error::file(paths.data.display(), "is missing, only the metadata is there", remedy)
        }
        _ => Error::io(&paths.data, "read", &e),
    })?;
    let frames = size.len() / frame_bytes as u64;
    if frames == 0 {
        let remedy = "record again: there is nothing to measure";
        return Err(Error::file(paths.data.display(), "holds no whole sample", remedy));
    }
    let left = size.len() % frame_bytes as u64;
    if left > 0 {
        warnings.push(format!(
            "{}: ends in the middle of a sample; its last {left} bytes are left out",
            paths.data.display()
        ));
    }
    Ok(frames)
}

/// The longest gap that is believed; more is a damaged index.
const LONGEST_GAP_S: f64 = 366.0 * 86_400.0;

/// Frames of the data file before which samples are missing, and how many.
fn gaps(
    meta: &Meta,
    frames: u64,
    format: &StreamFormat,
    at: &dyn Fn(&str) -> String,
) -> Result<Vec<(u64, u64)>> {
    let offset = meta.global.other.get("core:offset").and_then(|v| v.as_u64()).unwrap_or(0);
    let damaged = |field: &str, i: usize, what: String| {
        let place = at(&format!("captures[{i}] {field}"));
        Error::file(place, what, "correct the metadata, or restore it from a copy")
    };
    if offset.checked_add(frames).is_none() {
        let what = format!("is {offset}, which no recording reaches");
        return Err(Error::file(at("core:offset"), what, "correct the metadata"));
    }
    let first = meta.captures.first().map_or(offset, |s| s.sample_start);
    if first != offset {
        let what = format!("is {first}, but the data file begins with sample {offset}");
        return Err(damaged("core:sample_start", 0, what));
    }
    let mut gaps = Vec::new();
    for (i, pair) in meta.captures.windows(2).enumerate() {
        let (before, segment, i) = (&pair[0], &pair[1], i + 1);
        let Some(kept) = segment.sample_start.checked_sub(before.sample_start) else {
            let what = "lies before the segment ahead of it".to_owned();
            return Err(damaged("core:sample_start", i, what));
        };
        if segment.sample_start - offset > frames {
            let what = format!(
                "is {}, but the data file ends at sample {}: it is cut short",
                segment.sample_start,
                offset + frames
            );
            let remedy = "restore the whole .sigmf-data file, or delete the segments past its end";
            let place = at(&format!("captures[{i}] core:sample_start"));
            return Err(Error::file(place, what, remedy));
        }
        if segment.sample_start - offset == frames {
            // A recording that was killed had announced what never came.
            break;
        }
        if segment.frequency_hz.is_some_and(|f| f != format.tuned_hz) {
            let what = "differs from the first segment's";
            let remedy = "split the capture where the receiver was tuned anew";
            return Err(Error::file(at(&format!("captures[{i}] core:frequency")), what, remedy));
        }
        let from = before.global_index.or((i == 1).then_some(before.sample_start));
        let (Some(from), Some(to)) = (from, segment.global_index) else { continue };
        let due = from.checked_add(kept).ok_or_else(|| {
            damaged("core:global_index", i - 1, format!("is {from}, which no receiver counts to"))
        })?;
        let missing = to.checked_sub(due).ok_or_else(|| {
            let what = "counts fewer samples than the data file holds before it".to_owned();
            damaged("core:global_index", i, what)
        })?;
        if missing as f64 > LONGEST_GAP_S * format.sample_rate_hz {
            let what = format!("leaves {missing} samples out, more than a year");
            return Err(damaged("core:global_index", i, what));
        }
        if missing > 0 {
            gaps.push((segment.sample_start - offset, missing));
        }
    }
    Ok(gaps)
}

/// The path shown for a capture in results.
pub fn shown(path: &Path) -> String {
    let paths = Paths::of(path);
    PathBuf::from(&paths.meta).display().to_string()
}
