//! An invented park with records of some seasons, whose truth is known.

use std::path::Path;

use coilrig::records::{
    Calibration, Capture, Decided, Decision, EntryId, Event, EventKind, Judged, Measurement,
    MeasurementKind, Records, Stamp, Station, Unit, Verification,
};
use coilrig_analysis::reading::Reading;
use jiff::{SignedDuration, Timestamp};

/// The station file, which names six units.
pub const STATION: &str = include_str!("../../../../captures/station.toml");
/// First visit of all.
pub const FIRST: &str = "2023-11-04T09:00:00Z";

/// What of the park is made.
pub struct Park {
    /// Visits of each unit.
    pub visits: usize,
    /// Days from visit to visit.
    pub every_days: f64,
}

/// A unit and what it does.
struct Invented {
    name: &'static str,
    serial: &'static str,
    carrier_hz: f64,
    /// Hz a year, and a step from the visit of this share of all on.
    drift_hz: f64,
    step: Option<(f64, f64)>,
    field: f64,
    /// Share of the field lost in a year.
    fading: f64,
}

const UNITS: [Invented; 6] = [
    plain("post", "LM-01", 457_011.0),
    plain("stump", "LM-02", 456_988.0),
    Invented { field: 0.6e-6, fading: 0.085, ..plain("ditch", "LM-03", 457_004.0) },
    Invented { drift_hz: 22.0, ..plain("fence", "LM-04", 457_009.0) },
    Invented { step: Some((0.7, -31.0)), ..plain("spring", "LM-05", 457_020.0) },
    plain("hut", "LM-06", 456_996.0),
];

const fn plain(name: &'static str, serial: &'static str, carrier_hz: f64) -> Invented {
    Invented { name, serial, carrier_hz, drift_hz: 0.0, step: None, field: 0.9e-6, fading: 0.0 }
}

/// Errors that look like noise and are the same each time: uniform hash of a number,
/// twelve of them added up (normal enough here).
fn noise(number: &mut u64) -> f64 {
    let mut even = || {
        *number = number.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = *number;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) as f64 / u64::MAX as f64
    };
    (0..12).map(|_| even()).sum::<f64>() - 6.0
}

/// Make the records at `path`.
pub fn make(path: &Path, park: &Park) {
    let mut records = Records::create(path).unwrap();
    let first: Timestamp = FIRST.parse().unwrap();
    let day = |days: f64| first + SignedDuration::from_secs_f64(days * 86_400.0);
    let length = park.every_days * (park.visits - 1) as f64;
    let mut all = records.enter("anna", |_| ()).unwrap();
    let station =
        Station { name: "Larch meadow".into(), file_toml: STATION.into(), sha256: "0".repeat(64) };
    let station = all.add(&Stamp::at(day(0.0)), &station).unwrap();
    let calibration = Calibration {
        receiver_serial: "CR-0001".into(),
        file_toml: String::new(),
        sha256: "1".repeat(64),
        valid_until: Some(day(length - 20.0).to_string()[..10].to_owned()),
    };
    all.add(&Stamp::at(day(length - 385.0)), &calibration).unwrap();
    let mut number = 457;
    for invented in &UNITS {
        let unit = Unit {
            name: invented.name.into(),
            serial: Some(invented.serial.into()),
            model: Some("practice transmitter".into()),
        };
        let unit = all.add(&Stamp::at(day(0.0)), &unit).unwrap();
        let mut event = |kind, days: f64, detail: &str| {
            let what = Event { unit, kind, detail: Some(detail.into()) };
            all.add(&Stamp::at(day(days)), &what).unwrap();
        };
        event(EventKind::Placed, -1.0, "before the first season");
        for season in 1..=(length / 365.0) as i32 {
            event(EventKind::Battery, 365.0 * f64::from(season) - 60.0, "two new ones");
        }
        for visit in 0..park.visits {
            let days = park.every_days * visit as f64;
            visit_of(&mut all, invented, (unit, station), day(days), days / length, &mut number);
        }
        let judged = if invented.name == "fence" { Judged::Undecided } else { Judged::Conforms };
        let verification = Verification {
            unit,
            station: Some(station),
            limits: "en-300-718-1".into(),
            decision: judged,
            probability: Some(if judged == Judged::Conforms { 0.9991 } else { 0.91 }),
            capture_count: 0,
            document_json: "{}".into(),
        };
        let verified =
            all.add_verification(&Stamp::at(day(length - 100.0)), &verification, &[]).unwrap();
        let decision = Decision {
            unit,
            verification: Some(verified),
            decision: if judged == Judged::Conforms { Decided::InUse } else { Decided::Watch },
            who: "anna".into(),
            reason: Some("sheet filed".into()),
        };
        all.add(&Stamp::at(day(length - 99.0)), &decision).unwrap();
    }
    all.commit().unwrap();
}

fn visit_of(
    all: &mut coilrig::records::Entering<'_>,
    invented: &Invented,
    (unit, station): (EntryId, EntryId),
    at: Timestamp,
    share: f64,
    number: &mut u64,
) {
    let mut normal = || noise(number);
    let years = (at.duration_since(FIRST.parse().unwrap())).as_secs_f64() / (365.25 * 86_400.0);
    let celsius = -4.0 - 9.0 * (std::f64::consts::TAU * (years + 0.16)).sin() + 2.0 * normal();
    let capture = Capture {
        path: format!("{}-{}.sigmf-meta", invented.name, at.as_second()),
        sha256: "2".repeat(64),
        sha256_meta: "3".repeat(64),
        recorded_at: Some(at.to_string()),
        duration_s: 60.0,
        receiver_serial: Some("CR-0001".into()),
        temperature_c: Some(celsius),
    };
    let capture = all.add(&Stamp::at(at), &capture).unwrap();
    let step = invented.step.filter(|(from, _)| share >= *from).map_or(0.0, |(_, hz)| hz);
    let carrier = invented.carrier_hz + invented.drift_hz * years + step + 0.6 * celsius;
    let field = invented.field * (1.0 - invented.fading * years);
    let values = [
        ("carrier_hz", carrier + 0.8 * normal(), 0.05),
        ("period_s", 1.0 + 2e-6 * normal(), 1e-6),
        ("on_time_s", 0.09 + 2e-5 * normal(), 1e-5),
        ("off_time_s", 0.91 + 2e-5 * normal(), 1e-5),
        ("field_a_per_m", 1e-6 * (1.0 + 0.1 * normal()), 2e-8),
        ("residual_carrier_ratio", 0.002 + 1e-4 * normal(), 2e-4),
    ];
    let signal = Measurement {
        unit,
        station: Some(station),
        capture: Some(capture),
        calibration: None,
        kind: MeasurementKind::Signal,
        value_count: 0,
        document_json: "{\"format\":\"coilrig-measurement/1\"}".into(),
    };
    let named = |values: &[(&str, f64, f64)]| -> Vec<(String, Reading)> {
        values.iter().map(|(name, v, u)| ((*name).to_owned(), Reading::new(*v, *u))).collect()
    };
    all.add_measurement(&Stamp::at(at), &signal, &named(&values)).unwrap();
    let range = Measurement { capture: None, kind: MeasurementKind::Range, ..signal };
    let field = field * (1.0 + 0.02 * normal());
    let values = [
        ("field_at_10_m_a_per_m", field, 0.015 * field),
        ("moment_a_m2", field * 6283.0, 0.015 * field * 6283.0),
    ];
    all.add_measurement(&Stamp::at(at), &range, &named(&values)).unwrap();
}
