//! Places on a station's map against the table that pyproj made.

use coilrig_analysis::station::{Geographic, MapPlane};

const TABLE: &str = include_str!("../../outside/pyproj_places.csv");

#[test]
fn places_agree_with_pyproj() {
    let mut rows = 0;
    for line in TABLE.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let v: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("number")).collect();
        let place = |at: usize| Geographic { latitude_deg: v[at], longitude_deg: v[at + 1] };
        let [east_m, north_m] = MapPlane { origin: place(0) }.metres(place(2));
        let off_m = (east_m - v[4]).hypot(north_m - v[5]);
        // 1 mm in a kilometre.
        assert!(off_m < 1e-5 + 1e-6 * v[4].hypot(v[5]), "{line}: {east_m}, {north_m}");
        rows += 1;
    }
    assert!(rows >= 20);
}
