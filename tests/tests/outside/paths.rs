//! Ways along the field over snow against the table that scipy made.

use coilrig_analysis::plan::{End, FieldOverSnow, Space, search_path};
use coilrig_analysis::station::{Bounds, Station};

const TABLE: &str = include_str!("../../outside/scipy_paths.csv");
const FIELD: Bounds = Bounds { x_m: [-30.0, 30.0], y_m: [-30.0, 30.0] };

#[test]
fn ways_along_the_field_agree_with_scipy() {
    let mut rows = 0;
    for line in TABLE.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let v: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("number")).collect();
        let text = format!(
            "format = \"coilrig-station/1\"\nname = \"t\"\n\
             slope = {{ angle_deg = {}, bearing_deg = {} }}\n[[unit]]\nname = \"u\"\nx_m = 0\n\
             y_m = 0\nlie = {{ bearing_deg = {}, dip_deg = {} }}\ndepth_m = {}\nperiod_s = 1\n\
             on_time_s = 0.1\nfield_at_10_m = \"1uA/m\"\n",
            v[0], v[1], v[2], v[3], v[4]
        );
        let station = Station::parse(&text).expect("a station");
        let field = FieldOverSnow::new(&station, Space::Free, 1.0, &FIELD).expect("free space");
        let path = search_path(&field, 0, field.over([v[5], v[6]]));
        let (reached, length_m) = (v[7] == 1.0, v[8]);
        assert_eq!(path.end == End::SlowSearch, reached, "{line}: {:?}", path.end);
        // Where a way ends before that is known to a step.
        let off_m = if reached { 0.01 } else { 0.15 };
        assert!((path.length_m() - length_m).abs() < off_m, "{line}: {}", path.length_m());
        rows += usize::from(reached);
    }
    assert!(rows >= 15);
}
