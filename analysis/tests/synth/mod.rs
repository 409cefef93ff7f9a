//! A plain synthesiser of baseband, written apart from the scenario's so that
//! the signal analysis is not tested against its own family.
#![allow(dead_code, reason = "each test file uses its part")]

use coilrig_analysis::signal::{Analyser, Calibration, Event, Measurement, Pulse, StreamFormat};
use num_complex::{Complex32, Complex64};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// One transmitter; amplitudes in counts.
#[derive(Clone, Debug)]
pub struct Tx {
    pub offset_hz: f64,
    pub vector: [f64; 3],
    pub period_s: f64,
    pub on_s: f64,
    pub first_s: f64,
    /// Raised-cosine edges of this length.
    pub edge_s: f64,
    /// Standard deviation of each period.
    pub wander_s: f64,
    pub drift_hz_per_s: f64,
    pub residual: f64,
    pub continuous: bool,
    /// Each pulse begins with the same phase of the carrier, whatever `continuous` says.
    pub restarts: bool,
    /// Share of the amplitude that is lost from the start to the end of a pulse.
    pub sag: f64,
    /// Offset at key-on, and the time with which it falls off.
    pub chirp_hz: f64,
    pub settling_s: f64,
}

impl Tx {
    pub fn new(offset_hz: f64, vector: [f64; 3], period_s: f64, on_s: f64, first_s: f64) -> Self {
        Self {
            offset_hz,
            vector,
            period_s,
            on_s,
            first_s,
            edge_s: 0.002,
            wander_s: 0.0,
            drift_hz_per_s: 0.0,
            residual: 0.0,
            continuous: true,
            restarts: false,
            sag: 0.0,
            chirp_hz: 0.0,
            settling_s: 0.005,
        }
    }

    pub fn magnitude(&self) -> f64 {
        self.vector.iter().map(|v| v * v).sum::<f64>().sqrt()
    }
}

/// The whole recording.
pub struct Scene {
    pub rate_hz: f64,
    pub tuned_hz: f64,
    pub axes: usize,
    pub duration_s: f64,
    /// RMS counts per √Hz.
    pub noise: f64,
    pub transmitters: Vec<Tx>,
    pub seed: u64,
}

impl Scene {
    pub fn new(duration_s: f64, noise: f64, transmitters: Vec<Tx>, seed: u64) -> Self {
        let (rate_hz, tuned_hz, axes) = (8000.0, 457_000.0, 3);
        Self { rate_hz, tuned_hz, axes, duration_s, noise, transmitters, seed }
    }

    pub fn format(&self) -> StreamFormat {
        StreamFormat { sample_rate_hz: self.rate_hz, tuned_hz: self.tuned_hz, axes: self.axes }
    }

    /// Interleaved samples.
    pub fn samples(&self) -> Vec<Complex32> {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let length = (self.duration_s * self.rate_hz).round() as usize;
        let sigma = self.noise * (self.rate_hz / 2.0).sqrt();
        let mut sum: Vec<Complex64> = (0..length * self.axes)
            .map(|_| {
                let mut part = || -> f64 { StandardNormal.sample(&mut rng) };
                Complex64::new(part(), part()) * sigma
            })
            .collect();
        for tx in &self.transmitters {
            self.add(tx, &mut sum, &mut rng);
        }
        sum.iter().map(|z| Complex32::new(z.re as f32, z.im as f32)).collect()
    }

    fn add(&self, tx: &Tx, sum: &mut [Complex64], rng: &mut ChaCha8Rng) {
        let length = sum.len() / self.axes;
        let offset = 457_000.0 - self.tuned_hz + tx.offset_hz;
        let turns = |t: f64| (offset + 0.5 * tx.drift_hz_per_s * t) * t;
        let mut start = tx.first_s;
        let mut base = rng.random::<f64>();
        let mut envelope = vec![tx.residual; length];
        let mut phase = vec![base; length];
        while start < self.duration_s {
            if !tx.continuous {
                base = rng.random();
            }
            if tx.restarts {
                base = -turns(start);
            }
            let half = tx.edge_s / 2.0;
            let first = ((start - half) * self.rate_hz).max(0.0) as usize;
            let last = (((start + tx.on_s + half) * self.rate_hz).ceil() as usize).min(length);
            for n in first..last {
                let t = n as f64 / self.rate_hz;
                let shape = ramp(t - start, tx.edge_s) - ramp(t - start - tx.on_s, tx.edge_s);
                let sagged = shape * (1.0 - tx.sag * (t - start) / tx.on_s);
                envelope[n] = tx.residual + (1.0 - tx.residual) * sagged;
                // The integral of a frequency that falls off.
                phase[n] =
                    base - tx.chirp_hz * tx.settling_s * (-(t - start) / tx.settling_s).exp();
            }
            let wander: f64 = StandardNormal.sample(rng);
            start += tx.period_s + tx.wander_s * wander;
        }
        for n in 0..length {
            let t = n as f64 / self.rate_hz;
            let turn =
                Complex64::from_polar(envelope[n], std::f64::consts::TAU * (phase[n] + turns(t)));
            for (z, v) in sum[n * self.axes..].iter_mut().zip(tx.vector).take(self.axes) {
                *z += turn * v;
            }
        }
    }

    /// Analyse the whole scene with counts taken as A/m.
    pub fn measure(&self) -> Measurement {
        self.measure_with_pulses().0
    }

    /// The same, with every pulse and the number of its train.
    pub fn measure_with_pulses(&self) -> (Measurement, Vec<(Pulse, Option<usize>)>) {
        let calibration =
            Calibration { field_per_count: Some(vec![1.0; self.axes]), ..Calibration::default() };
        let mut analyser = Analyser::new(self.format(), calibration).unwrap();
        let mut pulses: Vec<(Pulse, Option<usize>)> = Vec::new();
        let mut keep = |event| match event {
            Event::Pulse(pulse) => pulses.push((pulse, None)),
            Event::Assigned { pulse, train } => pulses[pulse as usize].1 = Some(train),
        };
        analyser.push(&self.samples(), &mut keep);
        let measurement = analyser.finish(&mut keep);
        (measurement, pulses)
    }
}

fn ramp(t: f64, edge_s: f64) -> f64 {
    if edge_s == 0.0 {
        return f64::from(u8::from(t >= 0.0));
    }
    let x = (t / edge_s + 0.5).clamp(0.0, 1.0);
    0.5 - 0.5 * (std::f64::consts::PI * x).cos()
}

/// A vector of this length in a random direction.
pub fn random_vector(rng: &mut impl Rng, magnitude: f64) -> [f64; 3] {
    let mut vector = [0.0; 3].map(|_: f64| rng.random_range(-1.0..1.0));
    let norm = vector.iter().map(|v: &f64| v * v).sum::<f64>().sqrt();
    vector.iter_mut().for_each(|v| *v *= magnitude / norm);
    vector
}

/// Scenes to make: as many as the environment variable SEEDS says.
pub fn seeds(default: u64) -> u64 {
    std::env::var("SEEDS").ok().and_then(|s| s.parse().ok()).unwrap_or(default)
}

/// Root of the mean square.
pub fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}
