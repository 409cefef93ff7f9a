use coilrig_analysis::signal::*;
use num_complex::Complex32;
fn main() {
    let format = StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_000.0, axes: 3 };
    for value in [1.0f32, 1e-3, f32::MAX.sqrt() / 1e3] {
        let samples = vec![Complex32::new(value, 0.5 * value); 3 * 8000 * 12];
        let mut a = Analyser::new(format, Calibration::default()).unwrap();
        a.push(&samples, &mut |e| println!("{e:?}"));
        let m = a.finish(&mut |e| println!("{e:?}"));
        println!("{value}: {} {:?} {:?}", m.stray_pulses, m.steady_carriers, m.noise_counts_rthz);
    }
}
