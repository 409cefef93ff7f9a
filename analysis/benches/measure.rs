//! Cost of the signal analysis, as a ratio to a plain spectrogram of the same
//! samples in the same run: `cargo bench -p coilrig-analysis --bench measure`.
//!
//! All work on one minute of three axes at 8 kS/s; compare the rows.

use std::f32::consts::PI;

use coilrig_analysis::scenario::{Baseband, Scenario};
use coilrig_analysis::signal::{Analyser, Calibration, StreamFormat};
use num_complex::Complex32;
use rustfft::FftPlanner;

const SECONDS: usize = 60;
const RATE: usize = 8000;

fn main() {
    divan::main();
}

/// Interleaved samples of a scene of so many units around the receiver.
fn samples(units: usize) -> Vec<Complex32> {
    let unit = |i: usize| {
        format!(
            "[[unit]]\nname = \"u{i}\"\nposition_m = [{x}, {y}, -1.0]\n\
             moment_a_m2 = [3e-3, {m}, 1e-3]\ncarrier_offset_hz = {offset}\n\
             period_s = {period}\non_time_s = 0.09\nfirst_pulse_s = {first}\n",
            x = 5.0 + 2.0 * i as f64,
            y = 6.0 - 3.0 * i as f64,
            m = 1e-3 * (i as f64 - 2.0),
            offset = -60.0 + 37.0 * i as f64,
            period = 0.95 + 0.043 * i as f64,
            first = 0.1 + 0.17 * i as f64,
        )
    };
    let text = "[receiver]\nnoise_a_per_m_rthz = 1e-9\n".to_owned()
        + &(0..units).map(unit).collect::<String>();
    let scenario: Scenario = toml::from_str(&text).expect("a scenario");
    let mut frames = vec![[Complex32::ZERO; 3]; SECONDS * RATE];
    Baseband::new(&scenario, RATE as f64).expect("a scene").fill(&mut frames);
    frames.concat()
}

/// What anybody would compute first: power of Hann-windowed transforms of 512
/// samples, half overlapped, of each axis.
#[divan::bench(sample_count = 5)]
fn reference_spectrogram(bencher: divan::Bencher<'_, '_>) {
    let samples = samples(3);
    let fft = FftPlanner::new().plan_fft_forward(512);
    let window: Vec<f32> = (0..512).map(|i| (PI * i as f32 / 512.0).sin().powi(2)).collect();
    bencher.bench(|| {
        let mut buffer = vec![Complex32::ZERO; 512];
        let mut power = 0.0;
        for axis in 0..3 {
            for start in (0..SECONDS * RATE - 512).step_by(256) {
                for (i, (b, w)) in buffer.iter_mut().zip(&window).enumerate() {
                    *b = samples[(start + i) * 3 + axis] * w;
                }
                fft.process(&mut buffer);
                power += buffer.iter().map(Complex32::norm_sqr).sum::<f32>();
            }
        }
        power
    });
}

#[divan::bench(args = [0, 1, 3], sample_count = 5)]
fn analysis_of_units(bencher: divan::Bencher<'_, '_>, units: usize) {
    let samples = samples(units);
    let format = StreamFormat { sample_rate_hz: RATE as f64, tuned_hz: 457e3, axes: 3 };
    bencher.bench(|| {
        let mut analyser = Analyser::new(format, Calibration::default()).expect("a format");
        analyser.push(&samples, &mut |_| ());
        analyser.finish(&mut |_| ())
    });
}
