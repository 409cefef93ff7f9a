//! Surveys from captures: what gives no reading.

use coilrig_tests::capture::Scene;
use coilrig_tests::program::coilrig;
use tempfile::tempdir;

/// Pulses of 54 000 counts at most in a range of 32 767: as a field they would be read
/// too low.
#[test]
fn pulses_beyond_full_scale_are_no_reading() {
    let folder = tempdir().unwrap();
    let mut loud = Scene::plain(12.0);
    loud.transmitters[0].counts.iter_mut().for_each(|c| *c *= 80.0);
    loud.write(folder.path(), "loud");
    Scene::plain(12.0).write(folder.path(), "good");
    let survey = |out: &str, name: &str| {
        let point = format!("{name}@10m:coaxial");
        coilrig(folder.path(), &["survey", "distance", "--out", out, "--capture", &point])
    };
    survey("first", "loud").refused(3, &["loud", "beyond full scale", "lower gain"]);
    survey("second", "good").with_code(0);
}
