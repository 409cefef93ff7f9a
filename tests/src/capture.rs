//! SigMF recordings of ideal transmitters, made from the contract alone and
//! apart from the program's own emulator.

use std::f64::consts::{PI, TAU};
use std::path::Path;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::{Map, Value, json};

/// Encoding of the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Datatype {
    /// Little-endian complex i16.
    Ci16,
    /// Little-endian complex f32.
    Cf32,
}

/// One transmitter, in true seconds and hertz.
///
/// Edges are raised cosines, so that half the amplitude is passed at `first_s`
/// and `on_s` later.
#[derive(Clone, Debug)]
pub struct Transmitter {
    /// Carrier.
    pub carrier_hz: f64,
    /// From rising edge to rising edge.
    pub period_s: f64,
    /// From rising to falling edge.
    pub on_s: f64,
    /// First rising edge after the first sample.
    pub first_s: f64,
    /// Length of an edge.
    pub edge_s: f64,
    /// Change of the carrier, Hz per second from the first sample on.
    pub drift_hz_per_s: f64,
    /// Signed magnitude on each channel while on, counts.
    pub counts: Vec<f64>,
}

/// A recording to be written.
#[derive(Clone, Debug)]
pub struct Scene {
    /// `core:datatype`.
    pub datatype: Datatype,
    /// Nominal samples per second.
    pub rate_hz: f64,
    /// Radio frequency at 0 Hz of the baseband, nominal.
    pub tuned_hz: f64,
    /// Channels, 1 or 3.
    pub channels: usize,
    /// Length, nominal.
    pub duration_s: f64,
    /// By how much the receiver's clock runs fast. It is not written down: put
    /// `coilrig:clock_offset_ppm` into `global` for that.
    pub clock_ppm: f64,
    /// RMS noise density of every channel, counts per √Hz.
    pub noise_counts_rthz: f64,
    /// Who transmits.
    pub transmitters: Vec<Transmitter>,
    /// Stretches left out, from and until, nominal seconds, in order.
    pub gaps: Vec<(f64, f64)>,
    /// Further fields of the global object.
    pub global: Map<String, Value>,
    /// Of the noise.
    pub seed: u64,
}

impl Scene {
    /// One transmitter of 1 µA/m along (2, −1, 2)/3 on 457 012.3 Hz at 1 nA/m per
    /// count and per √Hz, 8000 samples a second, three channels of ci16_le, with
    /// scale and clock written down.
    pub fn plain(duration_s: f64) -> Self {
        let transmitter = Transmitter {
            carrier_hz: 457_012.3,
            period_s: 1.0007,
            on_s: 0.0903,
            first_s: 0.4123,
            edge_s: 0.002,
            drift_hz_per_s: 0.0,
            counts: vec![2000.0 / 3.0, -1000.0 / 3.0, 2000.0 / 3.0],
        };
        let global = [
            ("coilrig:field_per_count", json!([1e-9, 1e-9, 1e-9])),
            ("coilrig:field_per_count_u_rel", json!([0.01, 0.01, 0.01])),
            ("coilrig:clock_offset_ppm", json!(0.0)),
            ("coilrig:clock_offset_u_ppm", json!(0.01)),
        ];
        Self {
            datatype: Datatype::Ci16,
            rate_hz: 8000.0,
            tuned_hz: 457_000.0,
            channels: 3,
            duration_s,
            clock_ppm: 0.0,
            noise_counts_rthz: 1.0,
            transmitters: vec![transmitter],
            gaps: Vec::new(),
            global: global.into_iter().map(|(name, value)| (name.into(), value)).collect(),
            seed: 457,
        }
    }

    /// The same with a field of the global object set.
    pub fn with(mut self, name: &str, value: Value) -> Self {
        self.global.insert(name.into(), value);
        self
    }

    /// The same without a field of the global object.
    pub fn without(mut self, name: &str) -> Self {
        self.global.remove(name);
        self
    }

    /// The same on one channel, which has the whole field.
    pub fn on_one_channel(mut self) -> Self {
        self.channels = 1;
        for transmitter in &mut self.transmitters {
            transmitter.counts = vec![transmitter.counts.iter().map(|c| c * c).sum::<f64>().sqrt()];
        }
        for name in ["coilrig:field_per_count", "coilrig:field_per_count_u_rel"] {
            if let Some(Value::Array(list)) = self.global.get_mut(name) {
                list.truncate(1);
            }
        }
        self
    }

    /// Write NAME.sigmf-meta and NAME.sigmf-data into `folder`.
    ///
    /// # Panics
    ///
    /// When they cannot be written.
    pub fn write(&self, folder: &Path, name: &str) {
        let put = |ending: &str, bytes: &[u8]| {
            std::fs::write(folder.join(format!("{name}.{ending}")), bytes).expect("can be written");
        };
        put("sigmf-data", &self.data());
        let meta = serde_json::to_vec_pretty(&self.meta()).expect("metadata is JSON");
        put("sigmf-meta", &meta);
    }

    /// The metadata.
    pub fn meta(&self) -> Value {
        let datatype = if self.datatype == Datatype::Ci16 { "ci16_le" } else { "cf32_le" };
        let mut global = json!({
            "core:datatype": datatype,
            "core:num_channels": self.channels,
            "core:sample_rate": self.rate_hz,
            "core:version": "1.2.0",
            "core:extensions": [{"name": "coilrig", "version": "1.0.0", "optional": true}],
        });
        for (name, value) in &self.global {
            global[name] = value.clone();
        }
        let mut kept = 0;
        let segments: Vec<Value> = self
            .stretches()
            .map(|(from, until)| {
                let start = kept;
                kept += until - from;
                json!({
                    "core:sample_start": start,
                    "core:global_index": from,
                    "core:frequency": self.tuned_hz,
                    "core:datetime": "2026-01-15T08:30:00Z",
                })
            })
            .collect();
        json!({"global": global, "captures": segments, "annotations": []})
    }

    /// First and last + 1 sample of each stretch between the gaps.
    fn stretches(&self) -> impl Iterator<Item = (usize, usize)> {
        let at = |time_s: f64| (time_s * self.rate_hz).round() as usize;
        let starts = [0].into_iter().chain(self.gaps.iter().map(move |gap| at(gap.1)));
        let ends = self.gaps.iter().map(move |gap| at(gap.0)).chain([at(self.duration_s)]);
        starts.zip(ends)
    }

    fn data(&self) -> Vec<u8> {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        // A density d gives rate · d² in the whole band, half of it in each part.
        let sigma = self.noise_counts_rthz * (self.rate_hz / 2.0).sqrt();
        let clock = 1.0 + self.clock_ppm * 1e-6;
        let mut bytes = Vec::new();
        for n in self.stretches().flat_map(|(from, until)| from..until) {
            let time_s = n as f64 / (self.rate_hz * clock);
            let waves: Vec<(f64, f64)> =
                self.transmitters.iter().map(|t| t.wave(time_s, self.tuned_hz * clock)).collect();
            for channel in 0..self.channels {
                let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
                let (mut re, mut im) = (sigma * noise(), sigma * noise());
                for (transmitter, (i, q)) in self.transmitters.iter().zip(&waves) {
                    re += transmitter.counts[channel] * i;
                    im += transmitter.counts[channel] * q;
                }
                for part in [re, im] {
                    match self.datatype {
                        Datatype::Ci16 => bytes.extend((part.round() as i16).to_le_bytes()),
                        Datatype::Cf32 => bytes.extend((part as f32).to_le_bytes()),
                    }
                }
            }
        }
        bytes
    }
}

impl Transmitter {
    /// Real and imaginary part at a true time, seen from `zero_hz`.
    fn wave(&self, time_s: f64, zero_hz: f64) -> (f64, f64) {
        let pulse = ((time_s - self.first_s) / self.period_s + 0.5).floor().max(0.0);
        let into_s = time_s - self.first_s - pulse * self.period_s;
        // A pulse longer than half a period ends beyond the next one's middle.
        let on =
            |into_s: f64| ramp(into_s / self.edge_s) - ramp((into_s - self.on_s) / self.edge_s);
        let before = if pulse > 0.0 { on(into_s + self.period_s) } else { 0.0 };
        let offset_hz = self.carrier_hz - zero_hz + 0.5 * self.drift_hz_per_s * time_s;
        let (sin, cos) = (TAU * offset_hz * time_s).sin_cos();
        let amplitude = on(into_s) + before;
        (amplitude * cos, amplitude * sin)
    }
}

/// 0 up to −½, 1 from ½ on, half a cosine between.
fn ramp(x: f64) -> f64 {
    0.5 + 0.5 * (PI * x.clamp(-0.5, 0.5)).sin()
}
