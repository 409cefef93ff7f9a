//! Cost of planning a station of twelve units, beside references in the same run:
//! `cargo bench -p coilrig-analysis --bench plan`.
//!
//! The reference of the masking figures is the same counted pulse by pulse over ten
//! hours; that of the maps is as many plain dipole fields, one for each unit and place.

use coilrig_analysis::field::dipole;
use coilrig_analysis::plan::{
    FieldMap, FieldOverSnow, Space, Way, extent, lanes, masking, maxima, walk,
};
use coilrig_analysis::station::Station;

fn main() {
    divan::main();
}

const UNITS: usize = 12;
const POINTS: usize = 200;
const HEARD_A_PER_M: f64 = 80e-9;
const TEN_HOURS_S: f64 = 36_000.0;

/// Twelve units on a square of 60 m, each of another timing, place and lie.
fn station() -> Station {
    let unit = |i: usize| {
        let (x, y) = (8 + 15 * (i % 4), 10 + 20 * (i / 4));
        format!(
            "[[unit]]\nname = \"u{i}\"\nx_m = {x}\ny_m = {y}\ndepth_m = {}\n\
             lie = {{ bearing_deg = {}, dip_deg = {} }}\nperiod_s = {}\non_time_s = {}\n\
             field_at_10_m = \"0.8uA/m\"\n",
            0.6 + 0.1 * i as f64,
            37 * i % 360,
            13 * i % 90,
            0.81 + 0.037 * i as f64,
            0.07 + 0.004 * i as f64
        )
    };
    let units: String = (0..UNITS).map(unit).collect();
    let head = "format = \"coilrig-station/1\"\nname = \"bench\"\n\
                slope = { angle_deg = 15, bearing_deg = 160 }\nsnow_depth_m = 2\n\
                soil_resistivity_ohm_m = 100\nfield = { x_m = [0, 60], y_m = [0, 60] }\n";
    Station::parse(&format!("{head}{units}")).expect("a station")
}

fn field(space: Space) -> FieldOverSnow {
    let station = station();
    FieldOverSnow::new(&station, space, 1.0, &extent(&station)).expect("a ground")
}

/// Pulses that any other meets, over all trains in turn, by their edges in order.
#[divan::bench(sample_count = 3)]
fn reference_ten_hours_counted() -> usize {
    let station = station();
    let pulses = |unit: usize| {
        let timing = station.units[unit].timing;
        let first_s = 0.37 * unit as f64 % timing.period_s;
        let count = ((TEN_HOURS_S - first_s) / timing.period_s) as usize;
        (0..count).map(move |n| {
            let start_s = first_s + n as f64 * timing.period_s;
            (start_s, start_s + timing.on_time_s, unit)
        })
    };
    let mut all: Vec<(f64, f64, usize)> = (0..UNITS).flat_map(pulses).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let met = |(n, own): (usize, &(f64, f64, usize))| {
        let later = all[n + 1..].iter().take_while(|o| o.0 < own.1).count();
        let earlier = all[..n].iter().rev().take(UNITS).filter(|o| o.1 > own.0).count();
        later + earlier > 0
    };
    all.iter().enumerate().filter(|pulse| met(*pulse)).count()
}

#[divan::bench]
fn masking_of_all(bencher: divan::Bencher<'_, '_>) {
    let station = station();
    bencher.bench(|| masking(&station, HEARD_A_PER_M));
}

#[divan::bench(sample_count = 5)]
fn reference_dipole_fields() -> f64 {
    (1..=UNITS * POINTS * POINTS)
        .map(|i| dipole::field([3e-3, 2e-3, 4e-3], [1e-4 * i as f64, 0.5, 1.2], 457e3)[2].re)
        .sum()
}

#[divan::bench(args = [false, true], sample_count = 5)]
fn map(bencher: divan::Bencher<'_, '_>, over_ground: bool) {
    let station = station();
    let space = if over_ground { Space::of(&station) } else { Space::Free };
    bencher.bench(|| FieldMap::of(&field(space), &extent(&station), POINTS));
}

#[divan::bench(args = [false, true], sample_count = 5)]
fn walk_in_lanes(bencher: divan::Bencher<'_, '_>, over_ground: bool) {
    let station = station();
    let field = field(if over_ground { Space::of(&station) } else { Space::Free });
    let corners = field.snow.corners(&extent(&station), 1.0);
    bencher.bench(|| {
        let lanes = lanes(&corners, field.snow.downhill(), 20.0, Way::Up);
        walk(&field, lanes, HEARD_A_PER_M)
    });
}

#[divan::bench(sample_count = 5)]
fn maxima_above_all() -> usize {
    let field = field(Space::Free);
    (0..UNITS).map(|unit| maxima(&field, unit).map(|m| m.all.len())[0]).sum()
}
