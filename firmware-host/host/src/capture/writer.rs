//! Writing a capture so that nothing that was received is lost again.
//!
//! Once a second the samples gathered are appended to the data file and synced,
//! always whole frames of all channels. When a gap made a new segment, the data
//! up to it go first, then the metadata that tell of it, in one step, then the
//! data behind it: neither ever speaks of what the other lacks. Whenever the program is killed, a
//! valid capture up to the last second is left.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::Path;

use jiff::Timestamp;
use num_complex::Complex;

use super::meta::{Annotation, Global, Meta, Paths, Segment};
use crate::error::{Error, Result};
use crate::files;

/// Label of the annotations over clipped samples.
pub const OVERLOAD: &str = "overload";

/// Bytes of I and Q.
const SAMPLE_BYTES: u64 = 4;

/// A capture being written.
pub struct Writer {
    paths: Paths,
    data: File,
    meta: Meta,
    frequency_hz: f64,
    sample_rate_hz: f64,
    channels: u64,
    /// Samples not yet in the data file.
    gathered: Vec<u8>,
    /// Samples per channel in the data file.
    written: u64,
    /// Index in the stream of the next sample, if it follows without a gap.
    due_index: u64,
    /// Segments that the metadata file tells of.
    segments_told: usize,
    /// Whether the metadata file lacks an annotation.
    is_meta_old: bool,
}

/// Samples without a gap between them.
#[derive(Clone, Copy, Debug)]
pub struct Stretch<'a> {
    /// Index in the stream of the first sample, missing ones counted.
    pub index: u64,
    /// When the first sample was taken.
    pub starts_at: Timestamp,
    /// Whether any of them clipped.
    pub overload: bool,
    /// Counts, interleaved by channel.
    pub samples: &'a [Complex<i16>],
}

/// What a finished capture holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// Its files.
    pub paths: Paths,
    /// Samples per channel.
    pub samples: u64,
    /// Stretches without a gap.
    pub segments: usize,
}

impl Writer {
    /// Begin the capture `name`, whose `global` must state datatype `ci16_le`,
    /// sample rate and channels; `frequency_hz` is the radio frequency at 0 Hz.
    ///
    /// # Errors
    ///
    /// There is a capture of that name, which is never overwritten, or the
    /// place cannot be written.
    pub fn create(name: &Path, global: Global, frequency_hz: f64) -> Result<Self> {
        let paths = Paths::of(name);
        if paths.meta.exists() {
            return Err(exists(&paths.meta));
        }
        let data = OpenOptions::new().write(true).create_new(true).open(&paths.data).map_err(
            |e| match e.kind() {
                ErrorKind::AlreadyExists => exists(&paths.data),
                _ => Error::io(&paths.data, "make the capture", &e),
            },
        )?;
        let mut writer = Self {
            data,
            frequency_hz,
            sample_rate_hz: global.sample_rate_hz.unwrap_or(f64::NAN),
            channels: global.num_channels.unwrap_or(1) as u64,
            meta: Meta {
                global,
                captures: Vec::new(),
                annotations: Vec::new(),
                other: serde_json::Map::new(),
            },
            paths,
            gathered: Vec::new(),
            written: 0,
            due_index: 0,
            segments_told: 0,
            is_meta_old: false,
        };
        if let Err(error) = writer.write_meta() {
            // Nothing was recorded: leave nothing behind.
            let _ = std::fs::remove_file(&writer.paths.data);
            return Err(error);
        }
        Ok(writer)
    }

    /// Samples per channel taken so far.
    pub fn samples(&self) -> u64 {
        self.written + self.gathered.len() as u64 / (SAMPLE_BYTES * self.channels)
    }

    /// Take samples. A new segment begins when they do not follow those before.
    pub fn append(&mut self, stretch: Stretch) {
        let start = self.samples();
        if self.meta.captures.is_empty() || stretch.index != self.due_index {
            self.meta.captures.push(Segment {
                sample_start: start,
                global_index: Some(stretch.index),
                frequency_hz: Some(self.frequency_hz),
                datetime: Some(format!("{:.6}", stretch.starts_at)),
                other: serde_json::Map::new(),
            });
        }
        for sample in stretch.samples {
            self.gathered.extend(sample.re.to_le_bytes());
            self.gathered.extend(sample.im.to_le_bytes());
        }
        let count = self.samples() - start;
        self.due_index = stretch.index + count;
        if stretch.overload {
            self.annotate_overload(start, count);
        }
    }

    /// Mark clipped samples, in one with the stretch before when they follow it.
    fn annotate_overload(&mut self, start: u64, count: u64) {
        self.is_meta_old = true;
        if let Some(last) = self.meta.annotations.last_mut()
            && let Some(marked) = &mut last.sample_count
            && last.sample_start + *marked == start
        {
            *marked += count;
            return;
        }
        self.meta.annotations.push(Annotation {
            sample_start: start,
            sample_count: Some(count),
            freq_lower_edge_hz: None,
            freq_upper_edge_hz: None,
            generator: self.meta.global.recorder.clone(),
            label: Some(OVERLOAD.into()),
            comment: None,
            other: serde_json::Map::new(),
        });
    }

    /// Bring everything taken so far to the disk.
    ///
    /// # Errors
    ///
    /// The disk is full or broken. What it holds is a valid capture of what was
    /// there before, and of what still fitted; the error says how much.
    pub fn flush(&mut self) -> Result<()> {
        self.write_out().map_err(|failed| self.keep_what_fits(failed))
    }

    /// Bring the rest to the disk and close the capture. Without any samples
    /// there is no capture: its files are removed.
    pub fn finish(mut self) -> Result<Written> {
        self.flush()?;
        if self.written == 0 {
            for path in [&self.paths.meta, &self.paths.data] {
                std::fs::remove_file(path).map_err(|e| Error::io(path, "remove", &e))?;
            }
        }
        Ok(Written { samples: self.written, segments: self.meta.captures.len(), paths: self.paths })
    }

    fn write_out(&mut self) -> std::result::Result<(), Failed> {
        while let Some(next) = self.meta.captures.get(self.segments_told) {
            self.write_data(next.sample_start)?;
            self.segments_told += 1;
            self.write_meta().map_err(Failed::Meta)?;
        }
        self.write_data(self.samples())?;
        if self.is_meta_old {
            self.write_meta().map_err(Failed::Meta)?;
        }
        Ok(())
    }

    /// Bring the samples before `end` to the disk.
    fn write_data(&mut self, end: u64) -> std::result::Result<(), Failed> {
        let bytes = (end - self.written) * SAMPLE_BYTES * self.channels;
        if bytes > 0 {
            // As long as what has been gathered, which is in memory.
            let bytes = bytes as usize;
            self.data.write_all(&self.gathered[..bytes]).map_err(Failed::Data)?;
            self.data.sync_data().map_err(Failed::Data)?;
            self.gathered.drain(..bytes);
            self.written = end;
        }
        Ok(())
    }

    /// Write the metadata of the segments whose data may be on the disk.
    fn write_meta(&mut self) -> Result<()> {
        let mut meta = self.meta.clone();
        meta.captures.truncate(self.segments_told);
        let json = serde_json::to_vec_pretty(&meta).map_err(|e| {
            let path = self.paths.meta.display();
            Error::file(path, format!("cannot be written: {e}"), "check the note and the unit")
        })?;
        files::write_whole(&self.paths.meta, &json)?;
        self.is_meta_old = false;
        Ok(())
    }

    /// Cut what a failed write left back to whole frames, and the metadata to
    /// what they hold.
    fn keep_what_fits(&mut self, failed: Failed) -> Error {
        let frame_bytes = SAMPLE_BYTES * self.channels;
        let bytes = self.data.metadata().map_or(self.written * frame_bytes, |m| m.len());
        self.written = bytes / frame_bytes;
        self.gathered.clear();
        let kept = self.written;
        self.meta.captures.retain(|segment| segment.sample_start < kept);
        self.segments_told = self.meta.captures.len();
        self.meta.annotations.retain_mut(|mark| {
            let left = kept.saturating_sub(mark.sample_start);
            mark.sample_count = mark.sample_count.map(|count| count.min(left));
            left > 0
        });
        // Best effort on a disk that just failed: readers stop at the last
        // whole frame and at the end of the data in any case.
        let _ = self.data.set_len(kept * frame_bytes).and_then(|()| self.data.sync_data());
        let _ = self.write_meta();

        let kept = format!("the first {:.1} s are kept", kept as f64 / self.sample_rate_hz);
        failed.error(&self.paths).and(kept)
    }
}

/// Why the disk does not hold what it should.
enum Failed {
    Data(std::io::Error),
    Meta(Error),
}

impl Failed {
    fn error(self, paths: &Paths) -> Error {
        match self {
            Self::Meta(error) => error,
            Self::Data(e) => Error::io(&paths.data, "write", &e),
        }
    }
}

fn exists(path: &Path) -> Error {
    Error::file(
        path.display(),
        "is there already, and a capture is never overwritten",
        "give another name to --out, or move the old capture away",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::meta::Extension;

    fn global(channels: usize) -> Global {
        Global {
            datatype: "ci16_le".into(),
            sample_rate_hz: Some(8000.0),
            version: crate::capture::meta::SIGMF_VERSION.into(),
            num_channels: Some(channels),
            recorder: Some("coilrig".into()),
            extensions: Some(vec![Extension::coilrig()]),
            ..Global::default()
        }
    }

    fn ramp(from: i16, count: i16) -> Vec<Complex<i16>> {
        (from..from + count).map(|n| Complex::new(n, -n)).collect()
    }

    fn append(writer: &mut Writer, index: u64, samples: &[Complex<i16>], overload: bool) {
        let starts_at = Timestamp::from_microsecond(1_700_000_000_000_000 + index as i64).unwrap();
        writer.append(Stretch { index, starts_at, overload, samples });
    }

    fn meta(paths: &Paths) -> Meta {
        serde_json::from_slice(&std::fs::read(&paths.meta).unwrap()).unwrap()
    }

    #[test]
    fn samples_stand_in_the_file_as_they_came() {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = Writer::create(&folder.path().join("a"), global(1), 457e3).unwrap();
        append(&mut writer, 0, &ramp(0, 100), false);
        append(&mut writer, 100, &ramp(100, 100), false);
        let written = writer.finish().unwrap();
        assert_eq!((written.samples, written.segments), (200, 1));
        let bytes = std::fs::read(&written.paths.data).unwrap();
        let exact: Vec<u8> = ramp(0, 200)
            .iter()
            .flat_map(|s| [s.re.to_le_bytes(), s.im.to_le_bytes()].concat())
            .collect();
        assert_eq!(bytes, exact);
        let segment = &meta(&written.paths).captures[0];
        assert_eq!(segment.frequency_hz, Some(457e3));
        // 1.7 · 10⁹ s of Unix time.
        assert_eq!(segment.datetime.as_deref(), Some("2023-11-14T22:13:20.000000Z"));
    }

    #[test]
    fn a_gap_begins_a_segment_with_its_index_in_the_stream() {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = Writer::create(&folder.path().join("a"), global(3), 457e3).unwrap();
        append(&mut writer, 0, &ramp(0, 300), false);
        append(&mut writer, 150, &ramp(0, 30), false);
        append(&mut writer, 160, &ramp(0, 30), false);
        append(&mut writer, 400, &ramp(0, 3), false);
        let written = writer.finish().unwrap();
        let segments: Vec<_> = meta(&written.paths)
            .captures
            .iter()
            .map(|s| (s.sample_start, s.global_index.unwrap()))
            .collect();
        assert_eq!(segments, [(0, 0), (100, 150), (120, 400)]);
        assert_eq!(std::fs::metadata(&written.paths.data).unwrap().len(), 121 * 12);
    }

    #[test]
    fn overload_is_marked_where_it_was_and_no_further() {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = Writer::create(&folder.path().join("a"), global(1), 457e3).unwrap();
        for (packet, overload) in [false, true, true, false, true].into_iter().enumerate() {
            append(&mut writer, 10 * packet as u64, &ramp(0, 10), overload);
        }
        let marks: Vec<_> = meta(&writer.finish().unwrap().paths)
            .annotations
            .iter()
            .map(|a| (a.label.clone().unwrap(), a.sample_start, a.sample_count.unwrap()))
            .collect();
        assert_eq!(marks, [(OVERLOAD.into(), 10, 20), (OVERLOAD.into(), 40, 10)]);
    }

    #[test]
    fn the_files_are_a_capture_after_every_flush() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a");
        let paths = Paths::of(&name);
        let mut writer = Writer::create(&name, global(3), 457e3).unwrap();
        assert!(meta(&paths).captures.is_empty());
        for second in 0..3 {
            append(&mut writer, second * 1000, &ramp(0, 300), second == 1);
            writer.flush().unwrap();
            assert_eq!(meta(&paths).captures.len() as u64, second + 1);
            assert_eq!(std::fs::metadata(&paths.data).unwrap().len(), (second + 1) * 1200);
        }
        assert_eq!(meta(&paths).annotations.len(), 1);
    }

    #[test]
    fn a_capture_is_never_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a");
        for there in ["a.sigmf-meta", "a.sigmf-data"] {
            let path = folder.path().join(there);
            std::fs::write(&path, "dear").unwrap();
            let error = Writer::create(&name, global(1), 457e3).err().unwrap();
            assert!(error.to_string().contains(there), "{error}");
            assert_eq!(std::fs::read(&path).unwrap(), b"dear");
            std::fs::remove_file(&path).unwrap();
            assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
        }
    }

    #[test]
    fn nothing_recorded_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let writer = Writer::create(&folder.path().join("a"), global(1), 457e3).unwrap();
        assert_eq!(writer.finish().unwrap().samples, 0);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    /// `/dev/full` refuses every byte, as a full disk does.
    #[test]
    fn a_full_disk_keeps_the_capture_so_far() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a");
        let mut writer = Writer::create(&name, global(3), 457e3).unwrap();
        append(&mut writer, 0, &ramp(0, 24_000), false);
        writer.flush().unwrap();

        writer.data = OpenOptions::new().write(true).open("/dev/full").unwrap();
        append(&mut writer, 9000, &ramp(0, 24_000), true);
        let error = writer.flush().unwrap_err();
        assert_eq!(error.kind(), crate::error::Kind::File);
        assert!(error.to_string().contains("No space left"), "{error}");
        assert!(error.to_string().contains("free some space"), "{error}");
    }

    #[test]
    fn a_write_that_fits_in_part_is_cut_to_whole_frames() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a");
        let mut writer = Writer::create(&name, global(3), 457e3).unwrap();
        append(&mut writer, 0, &ramp(0, 24_000), false);
        writer.flush().unwrap();
        // A disk that took seven and a half frames of the second segment.
        writer.data.write_all(&[1; 90]).unwrap();
        append(&mut writer, 9000, &ramp(0, 24_000), true);
        append(&mut writer, 20_000, &ramp(0, 24_000), true);
        writer.write_meta().unwrap();
        let full = std::io::Error::from(ErrorKind::StorageFull);
        let error = writer.keep_what_fits(Failed::Data(full));
        assert!(error.to_string().contains("the first 1.0 s are kept"), "{error}");
        let paths = Paths::of(&name);
        assert_eq!(std::fs::metadata(&paths.data).unwrap().len(), 8007 * 12);
        let meta = meta(&paths);
        assert_eq!(meta.captures.len(), 2);
        assert_eq!(meta.annotations.len(), 1);
        assert_eq!(meta.annotations[0].sample_count, Some(7));
    }
}
