//! A station as it stands in a TOML file.

use std::ops::{Range, RangeInclusive};

use serde::Deserialize;
use toml::Spanned;
use unicode_normalization::UnicodeNormalization;

use super::doubts::{self, Doubt};
use super::fault::{Fault, StationError, line_of};
use super::map_plane::Geographic;
use super::model::{Bounds, Lie, PlannedUnit, Slope, Spare, Station};
use crate::limits::{LimitSet, published};
use crate::masking::Timing;
use crate::units;

/// Format of the file.
pub const FORMAT: &str = "coilrig-station/1";

/// Outside these numbers a unit of measure must be wrong: periods and on times are
/// twice as wide as any published limit, depths those of digging.
pub(crate) const PERIOD_S: RangeInclusive<f64> = 0.25..=2.6;
pub(crate) const ON_TIME_S: RangeInclusive<f64> = 0.02..=1.0;
pub(crate) const DEPTH_M: RangeInclusive<f64> = 0.0..=10.0;
pub(crate) const FIELD_AT_10_M_A_PER_M: RangeInclusive<f64> = 1e-8..=1e-4;
const SOIL_OHM_M: RangeInclusive<f64> = 0.1..=1e6;
const SLOPE_DEG: RangeInclusive<f64> = 0.0..=60.0;
const ANGLE_DEG: RangeInclusive<f64> = -360.0..=360.0;
pub(crate) const PLACE_M: RangeInclusive<f64> = -1e5..=1e5;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Unchecked {
    format: Spanned<String>,
    name: String,
    place: Option<String>,
    origin: Option<UncheckedOrigin>,
    slope: Option<UncheckedSlope>,
    snow_depth_m: Option<Spanned<f64>>,
    soil_resistivity_ohm_m: Option<Spanned<f64>>,
    field: Option<UncheckedBounds>,
    #[serde(default)]
    unit: Vec<Spanned<UncheckedUnit>>,
    #[serde(default)]
    spare: Vec<UncheckedSpare>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedOrigin {
    latitude_deg: Spanned<f64>,
    longitude_deg: Spanned<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedSlope {
    angle_deg: Spanned<f64>,
    bearing_deg: Spanned<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedBounds {
    x_m: Spanned<[f64; 2]>,
    y_m: Spanned<[f64; 2]>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedUnit {
    name: Spanned<String>,
    serial: Option<String>,
    x_m: Spanned<f64>,
    y_m: Spanned<f64>,
    depth_m: Spanned<f64>,
    lie: Option<UncheckedLie>,
    period_s: Spanned<f64>,
    on_time_s: Spanned<f64>,
    field_at_10_m: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedSpare {
    name: Spanned<String>,
    serial: Option<String>,
    period_s: Spanned<f64>,
    on_time_s: Spanned<f64>,
    field_at_10_m: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedLie {
    bearing_deg: Spanned<f64>,
    dip_deg: Spanned<f64>,
}

impl Station {
    /// Read a station from the text of its file.
    ///
    /// # Errors
    ///
    /// Text that is no TOML or not of this form, a name given twice, a unit outside
    /// the field, above the surface or below the snow, a number so far from any real one
    /// that its unit of measure must be wrong; each with its line and what to do.
    pub fn parse(text: &str) -> Result<Self, StationError> {
        let (mut station, doubts) = checked(text).map_err(|fault| fault.in_text(text))?;
        let line = |place: Range<usize>| line_of(text, place.start);
        station.doubts =
            doubts.into_iter().map(|(at, what)| Doubt { line: line(at), what }).collect();
        station.doubts.sort_by_key(|doubt| doubt.line);
        Ok(station)
    }
}

/// Doubts, each with the bytes of the text that it is about.
type Doubts = Vec<(Range<usize>, String)>;

fn checked(text: &str) -> Result<(Station, Doubts), Fault> {
    let file: Unchecked = toml::from_str(text).map_err(|e| Fault {
        place: e.span(),
        what: e.message().trim_end().to_owned(),
        remedy: "mend the line; captures/station.toml shows every part of a station".into(),
    })?;
    if file.format.get_ref() != FORMAT {
        let what = format!("format is \"{}\", not \"{FORMAT}\"", file.format.get_ref());
        return Err(Fault::new(file.format.span(), what, "give a station file of this form"));
    }
    let maybe = |value: &Option<Spanned<f64>>, name, range| match value {
        Some(value) => within(value, name, range).map(Some),
        None => Ok(None),
    };
    let slope = match &file.slope {
        Some(slope) => Slope {
            angle_deg: within(&slope.angle_deg, "angle_deg", SLOPE_DEG)?,
            bearing_deg: within(&slope.bearing_deg, "bearing_deg", ANGLE_DEG)?,
        },
        None => Slope::default(),
    };
    let origin = match &file.origin {
        Some(origin) => Some(Geographic {
            latitude_deg: within(&origin.latitude_deg, "latitude_deg", -85.0..=85.0)?,
            longitude_deg: within(&origin.longitude_deg, "longitude_deg", -180.0..=180.0)?,
        }),
        None => None,
    };
    let bounds = file.field.as_ref().map(bounds).transpose()?;
    let mut station = Station {
        name: file.name,
        place: file.place,
        origin,
        slope,
        snow_depth_m: maybe(&file.snow_depth_m, "snow_depth_m", DEPTH_M)?,
        soil_resistivity_ohm_m: maybe(
            &file.soil_resistivity_ohm_m,
            "soil_resistivity_ohm_m",
            SOIL_OHM_M,
        )?,
        bounds,
        units: Vec::new(),
        spares: Vec::new(),
        doubts: Vec::new(),
    };
    let mut doubts = Doubts::new();
    let sets = published::all();
    for entry in &file.unit {
        let entry = entry.get_ref();
        let unit = unit(entry, &station)?;
        let timing = (&entry.period_s, &entry.on_time_s, &entry.field_at_10_m);
        doubts.extend(doubts_of(&sets, timing, unit.timing, unit.field_at_10_m_a_per_m));
        doubts.extend(doubts::of_place(&unit, &station.units).map(|w| (entry.x_m.span(), w)));
        if entry.lie.is_none() {
            let what = format!("\"{}\" has no lie and is taken to lie level, to north", unit.name);
            doubts.push((entry.name.span(), what));
        }
        station.units.push(unit);
    }
    for entry in &file.spare {
        let spare = spare(entry, &station)?;
        let timing = (&entry.period_s, &entry.on_time_s, &entry.field_at_10_m);
        doubts.extend(doubts_of(&sets, timing, spare.timing, spare.field_at_10_m_a_per_m));
        station.spares.push(spare);
    }
    if station.units.is_empty() {
        return Err(Fault {
            place: None,
            what: "holds no [[unit]], so there is nothing to plan".into(),
            remedy: "add a [[unit]] for each practice transmitter".into(),
        });
    }
    Ok((station, doubts))
}

fn doubts_of(
    sets: &[LimitSet],
    (period_s, on_time_s, field): (&Spanned<f64>, &Spanned<f64>, &Spanned<String>),
    timing: Timing,
    field_at_10_m_a_per_m: f64,
) -> impl Iterator<Item = (Range<usize>, String)> + use<> {
    let all = [
        (period_s.span(), doubts::of_period(sets, timing)),
        (on_time_s.span(), doubts::of_on_time(sets, timing)),
        (field.span(), doubts::of_field(sets, field_at_10_m_a_per_m)),
    ];
    all.into_iter().filter_map(|(at, what)| Some((at, what?)))
}

fn within(value: &Spanned<f64>, name: &str, range: RangeInclusive<f64>) -> Result<f64, Fault> {
    let number = *value.get_ref();
    if range.contains(&number) {
        return Ok(number);
    }
    let what = format!("{name} is {number}, not between {} and {}", range.start(), range.end());
    Err(Fault::new(value.span(), what, "correct the number, or its unit of measure"))
}

fn bounds(field: &UncheckedBounds) -> Result<Bounds, Fault> {
    for side in [&field.x_m, &field.y_m] {
        let [from, to] = *side.get_ref();
        if !(PLACE_M.contains(&from) && PLACE_M.contains(&to) && from < to) {
            let what = format!("the field runs from {from} m to {to} m");
            return Err(Fault::new(side.span(), what, "give the smaller number first, in metres"));
        }
    }
    Ok(Bounds { x_m: *field.x_m.get_ref(), y_m: *field.y_m.get_ref() })
}

fn unit(file: &UncheckedUnit, station: &Station) -> Result<PlannedUnit, Fault> {
    let name = name(&file.name, station)?;
    let (x_m, y_m) = (within(&file.x_m, "x_m", PLACE_M)?, within(&file.y_m, "y_m", PLACE_M)?);
    if let Some(bounds) = station.bounds.filter(|b| !b.hold(x_m, y_m)) {
        let what = format!(
            "unit \"{name}\" at {x_m} m, {y_m} m lies outside the field, {} to {} m by {} to {} m",
            bounds.x_m[0], bounds.x_m[1], bounds.y_m[0], bounds.y_m[1]
        );
        return Err(Fault::new(file.x_m.span(), what, "correct its place or the [field]"));
    }
    let depth_m = depth(&file.depth_m, &name, station)?;
    let lie = match &file.lie {
        Some(lie) => Lie {
            bearing_deg: within(&lie.bearing_deg, "bearing_deg", ANGLE_DEG)?,
            dip_deg: within(&lie.dip_deg, "dip_deg", -90.0..=90.0)?,
        },
        None => Lie::default(),
    };
    let timing = timing(&file.period_s, &file.on_time_s)?;
    let field_at_10_m_a_per_m = field(&file.field_at_10_m)?;
    let serial = file.serial.clone();
    Ok(PlannedUnit { name, serial, x_m, y_m, depth_m, lie, timing, field_at_10_m_a_per_m })
}

fn spare(file: &UncheckedSpare, station: &Station) -> Result<Spare, Fault> {
    Ok(Spare {
        name: name(&file.name, station)?,
        serial: file.serial.clone(),
        timing: timing(&file.period_s, &file.on_time_s)?,
        field_at_10_m_a_per_m: field(&file.field_at_10_m)?,
    })
}

/// A name in composed form (NFC), so that two that look the same are the same.
fn name(written: &Spanned<String>, station: &Station) -> Result<String, Fault> {
    let name: String = written.get_ref().trim().nfc().collect();
    let refused = |what: String, remedy: &str| Err(Fault::new(written.span(), what, remedy));
    if name.is_empty() {
        return refused("a unit without a name".into(), "name it");
    }
    if name.chars().any(cannot_be_seen) {
        return refused(
            "a unit's name with a character that cannot be shown".into(),
            "name it anew",
        );
    }
    let taken = |other: &String| *other == name;
    if station.units.iter().map(|u| &u.name).any(taken) {
        return refused(format!("a second unit \"{name}\""), "give each unit a name of its own");
    }
    if station.spares.iter().map(|u| &u.name).any(taken) {
        return refused(format!("a second spare \"{name}\""), "give each unit a name of its own");
    }
    Ok(name)
}

/// Control characters, and marks of format (Unicode's category Cf) that would make two
/// names look the same.
fn cannot_be_seen(c: char) -> bool {
    let of_format = ['\u{ad}', '\u{61c}', '\u{180e}', '\u{feff}'].contains(&c)
        || ('\u{200b}'..='\u{200f}').contains(&c)
        || ('\u{202a}'..='\u{202e}').contains(&c)
        || ('\u{2060}'..='\u{206f}').contains(&c);
    c.is_control() || of_format
}

fn timing(period_s: &Spanned<f64>, on_time_s: &Spanned<f64>) -> Result<Timing, Fault> {
    let timing = Timing {
        period_s: within(period_s, "period_s", PERIOD_S)?,
        on_time_s: within(on_time_s, "on_time_s", ON_TIME_S)?,
    };
    let wrong = |what| Fault::new(on_time_s.span(), what, "correct the period or the on time");
    timing.check().map(|()| timing).map_err(wrong)
}

fn depth(value: &Spanned<f64>, name: &str, station: &Station) -> Result<f64, Fault> {
    let at = |what: String, remedy: &str| Err(Fault::new(value.span(), what, remedy));
    let depth_m = *value.get_ref();
    if depth_m < 0.0 {
        let what = format!("unit \"{name}\" lies {} m above the surface", -depth_m);
        return at(what, "give the depth below the snow's surface as a positive number");
    }
    let depth_m = within(value, "depth_m", DEPTH_M)?;
    match station.snow_depth_m {
        Some(snow_m) if depth_m > snow_m => at(
            format!("unit \"{name}\" lies {depth_m} m deep in {snow_m} m of snow"),
            "correct its depth, or snow_depth_m",
        ),
        _ => Ok(depth_m),
    }
}

fn field(value: &Spanned<String>) -> Result<f64, Fault> {
    let place: Range<usize> = value.span();
    let remedy =
        "write it as 0.8uA/m, 800nA/m or -2dBuA/m: the field on the unit's axis, 10 m away";
    let field_a_per_m = units::parse_field(value.get_ref())
        .map_err(|e| Fault::new(place.clone(), e.to_string(), remedy))?;
    if FIELD_AT_10_M_A_PER_M.contains(&field_a_per_m) {
        return Ok(field_a_per_m);
    }
    let what = format!("{} at 10 m is no practice transmitter's", value.get_ref());
    Err(Fault::new(place, what, remedy))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "format = \"coilrig-station/1\"\nname = \"Test\"\n";
    const UNIT: &str = "[[unit]]\nname = \"a\"\nx_m = 1\ny_m = 2\ndepth_m = 1.1\n\
                        period_s = 1\non_time_s = 0.1\nfield_at_10_m = \"0.8uA/m\"\n";

    const SPARE: &str = "[[spare]]\nname = \"s\"\nperiod_s = 1\non_time_s = 0.1\n\
                         field_at_10_m = \"0.8uA/m\"\n";

    fn error(text: &str) -> (Option<usize>, String) {
        let error = Station::parse(text).unwrap_err();
        assert!(!error.remedy.is_empty());
        (error.line, error.what)
    }

    #[test]
    fn a_station_is_read_whole() {
        let text = format!(
            "{HEAD}snow_depth_m = 1.8\nslope = {{ angle_deg = 20, bearing_deg = 135 }}\n\
             field = {{ x_m = [0, 40], y_m = [0, 30] }}\n{UNIT}\
             lie = {{ bearing_deg = 40, dip_deg = 10 }}\n"
        );
        let station = Station::parse(&text).unwrap();
        assert_eq!(station.slope, Slope { angle_deg: 20.0, bearing_deg: 135.0 });
        let unit = &station.units[0];
        assert_eq!((unit.x_m, unit.y_m, unit.depth_m), (1.0, 2.0, 1.1));
        assert_eq!(unit.lie, Lie { bearing_deg: 40.0, dip_deg: 10.0 });
        assert!((unit.field_at_10_m_a_per_m - 0.8e-6).abs() < 1e-18);
    }

    #[test]
    fn what_is_doubtful_is_told_with_its_line() {
        let near = UNIT.replace("\"a\"", "\"b\"").replace("y_m = 2", "y_m = 2.5");
        let slow = SPARE.replace("period_s = 1\n", "period_s = 1.5\n");
        let station = Station::parse(&format!("{HEAD}{UNIT}{near}{slow}")).unwrap();
        let said: Vec<(usize, &str)> =
            station.doubts.iter().map(|d| (d.line, d.what.as_str())).collect();
        assert_eq!(said.len(), 4, "{said:?}");
        assert!(said[0].0 == 4 && said[0].1.contains("taken to lie level"), "{said:?}");
        assert!(said[1].0 == 12 && said[1].1.starts_with("\"b\" has no lie"), "{said:?}");
        assert!(said[2].0 == 13 && said[2].1.contains("0.5 m from each other"), "{said:?}");
        assert!(said[3].0 == 21 && said[3].1.contains("1500 ms"), "{said:?}");
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        let with = |from: &str, to: &str| format!("{HEAD}{}", UNIT.replace(from, to));
        for (text, line, what) in [
            (with("depth_m = 1.1", "depth_m = -1.1"), 7, "1.1 m above the surface"),
            (with("period_s = 1", "period_s = 1000"), 8, "period_s is 1000, not between"),
            (with("on_time_s = 0.1", "on_time_s = 100"), 9, "on_time_s is 100, not between"),
            (with("on_time_s = 0.1", "on_time_s = 0.99\nserial = 3"), 10, "invalid type"),
            (with("period_s = 1\non_time_s = 0.1", "period_s = 0.3\non_time_s = 0.4"), 9, "pause"),
            (with("0.8uA/m", "0.8"), 10, "0.8 at 10 m"),
            (with("x_m = 1", "x_m = nan"), 5, "x_m is NaN"),
            (with("name = \"a\"", "nam = \"a\""), 4, "nam"),
            (with("name = \"a\"", "name = \"a\\u001b[31m\""), 4, "cannot be shown"),
            (with("name = \"a\"", "name = \"a\u{200b}\""), 4, "cannot be shown"),
            (
                // One letter, and the same as a letter and an accent.
                format!("{}{}", with("\"a\"", "\"\u{e9}\""), UNIT.replace("\"a\"", "\"e\u{301}\"")),
                12,
                "a second unit \"\u{e9}\"",
            ),
            (format!("{HEAD}{UNIT}{SPARE}{SPARE}"), 17, "a second spare \"s\""),
            (format!("{HEAD}{UNIT}{}", SPARE.replace("\"s\"", "\"a\"")), 12, "a second unit"),
            (format!("{HEAD}{UNIT}{}", SPARE.replace("period_s = 1", "period_s = 9")), 13, "is 9"),
            (format!("{HEAD}{UNIT}{UNIT}"), 12, "a second unit \"a\""),
            (format!("{HEAD}snow_depth_m = 1\n{UNIT}"), 8, "1.1 m deep in 1 m of snow"),
            (format!("{HEAD}field = {{ x_m = [5, 9], y_m = [0, 9] }}\n{UNIT}"), 6, "outside"),
            (format!("{HEAD}field = {{ x_m = [9, 5], y_m = [0, 9] }}\n{UNIT}"), 3, "from 9 m to 5"),
            (HEAD.replace("station/1", "station/9"), 1, "coilrig-station/9"),
        ] {
            let (at, said) = error(&text);
            assert_eq!(at, Some(line), "{said} of\n{text}");
            assert!(said.contains(what), "{said} has no {what}");
        }
        assert_eq!(error(HEAD).0, None);
    }
}
