//! Records to histories: the one way for all commands.

use std::collections::HashMap;

use coilrig_analysis::history::{
    self, Due, Followed, Point, Standing, TRACKED, Tracked, due, follow,
};
use coilrig_analysis::limits::LimitSet;
use coilrig_analysis::station::Station;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::error::{Error, Result};
use crate::records::{
    self, Calibration, Decided, Decision, Entry, EntryId, Event, EventKind, KnownUnit, Records,
    Verification, Wanted,
};

/// Seconds of a day.
pub const DAY_S: f64 = 86_400.0;
/// Seconds of a year.
pub const YEAR_S: f64 = 365.25 * DAY_S;

/// What is asked.
#[derive(Debug)]
pub struct Question<'a> {
    /// Of this unit alone.
    pub unit: Option<&'a str>,
    /// Of the units of this station alone.
    pub station: Option<&'a str>,
    /// Up to then, and seen from then.
    pub as_of: Timestamp,
    /// By these limits.
    pub limits: LimitSet,
    /// How far to look ahead, s.
    pub horizon_s: f64,
    /// After how long a unit is to be verified again, s.
    pub verify_every_s: f64,
    /// After how long its batteries are due, s.
    pub battery_every_s: f64,
}

/// A unit and all that is on record of it.
#[derive(Debug)]
pub struct UnitHistory {
    /// Which one.
    pub known: KnownUnit,
    /// Its quantities, worst first.
    pub followed: Vec<Followed>,
    /// What was done to it, in order of time.
    pub events: Vec<Entry<Event>>,
    /// Verifications, in order of time.
    pub verifications: Vec<Entry<Verification>>,
    /// Decisions, in order of time.
    pub decisions: Vec<Entry<Decision>>,
    /// When it is to be verified.
    pub verification_due: Due,
    /// When its batteries are due.
    pub battery_due: Due,
    /// It is out of use for good: nothing is due.
    pub retired: bool,
}

/// The newest calibration of a receiver.
#[derive(Debug)]
pub struct ReceiverCalibration {
    /// The entry.
    pub entry: Entry<Calibration>,
    /// When it stops to count; absent where it states nothing.
    pub ends: Option<Due>,
}

/// All that was asked for.
#[derive(Debug)]
pub struct Histories {
    /// Units, those that want looking at first.
    pub units: Vec<UnitHistory>,
    /// The newest calibration of each receiver.
    pub calibrations: Vec<ReceiverCalibration>,
    /// The station that was asked for, as it was recorded last.
    pub station: Option<Entry<records::Station>>,
}

impl UnitHistory {
    /// Its name.
    pub fn name(&self) -> &str {
        &self.known.entry.what.name
    }

    /// How the worst of its quantities stands.
    pub fn standing(&self) -> Standing {
        self.followed.first().map_or(Standing::Unknown, |f| f.standing)
    }

    /// What was done to it, as analysis wants it.
    pub fn done(&self) -> Vec<history::Event> {
        done(&self.events)
    }
}

/// Seconds of Unix time.
pub fn seconds(at: Timestamp) -> f64 {
    at.as_duration().as_secs_f64()
}

/// The time of so many seconds of Unix time, held within what a calendar has.
pub fn timestamp(at_s: f64) -> Timestamp {
    let range = Timestamp::MIN.as_second() as f64..=Timestamp::MAX.as_second() as f64;
    let held = at_s.clamp(*range.start(), *range.end());
    Timestamp::from_second(held as i64).unwrap_or(Timestamp::MAX)
}

/// The day, in UTC, of so many seconds of Unix time.
pub fn day(at_s: f64) -> Date {
    TimeZone::UTC.to_datetime(timestamp(at_s)).date()
}

/// When a day begins, in UTC, as seconds of Unix time.
pub fn midnight(day: Date) -> Option<f64> {
    TimeZone::UTC.to_timestamp(day.at(0, 0, 0, 0)).ok().map(seconds)
}

/// Answer `question` from the records.
///
/// # Errors
///
/// Records that cannot be read; a unit or station that is not in them.
pub fn load(records: &Records, question: &Question<'_>) -> Result<Histories> {
    let station =
        question.station.map(|name| station_named(records, name, question.as_of)).transpose()?;
    let one = question.unit.map(|name| records.known_unit(name)).transpose()?;
    let mut series = series(records, question.as_of, one.as_ref().map(|u| u.unit))?;
    let there = |at: Timestamp| at <= question.as_of;
    let units = match (one, &station) {
        (Some(unit), _) => vec![unit],
        (None, Some(station)) => units_of(records, station, &series)?,
        (None, None) => records.units()?,
    };
    let mut events = by_unit(records.events(None)?, |e| e.what.unit, |e| there(e.at));
    let mut verifications = by_unit(records.verifications(None)?, |e| e.what.unit, |e| there(e.at));
    let mut decisions = by_unit(records.decisions(None)?, |e| e.what.unit, |e| there(e.at));
    let mut units: Vec<UnitHistory> = units
        .into_iter()
        .map(|known| {
            let id = known.unit;
            let events = events.remove(&id).unwrap_or_default();
            let verifications = verifications.remove(&id).unwrap_or_default();
            let decisions = decisions.remove(&id).unwrap_or_default();
            let points = series.remove(&id).map(|s| s.points).unwrap_or_default();
            assembled(question, known, points, events, verifications, decisions)
        })
        .collect();
    units.sort_by(|a, b| {
        history::worse_first(a.standing(), b.standing()).then_with(|| a.name().cmp(b.name()))
    });
    Ok(Histories { units, calibrations: calibrations(records, question.as_of)?, station })
}

fn assembled(
    question: &Question<'_>,
    known: KnownUnit,
    points: Vec<(Tracked, Vec<Point>)>,
    events: Vec<Entry<Event>>,
    verifications: Vec<Entry<Verification>>,
    decisions: Vec<Entry<Decision>>,
) -> UnitHistory {
    let done = done(&events);
    let view = (seconds(question.as_of), question.horizon_s);
    let mut followed: Vec<Followed> = points
        .iter()
        .filter_map(|(quantity, points)| follow(*quantity, points, &done, &question.limits, view))
        .collect();
    followed.sort_by(|a, b| history::worse_first(a.standing, b.standing));
    let last = |kind| events.iter().rfind(|e| e.what.kind == kind).map(|e| seconds(e.at));
    // Out of use from the event or the decision on, until it is placed again or somebody
    // decides otherwise.
    let decided = |what| decisions.iter().rfind(|d| d.what.decision == what);
    let decided_s = |what| decided(what).map(|d| seconds(d.at));
    let newest = |times: [Option<f64>; 2]| times.into_iter().flatten().fold(f64::MIN, f64::max);
    let ended_s = newest([last(EventKind::Retired), decided_s(Decided::Retire)]);
    let again_s = newest([last(EventKind::Placed), decided_s(Decided::InUse)]);
    let retired = ended_s > again_s;
    let verified = verifications.last().map(|v| seconds(v.at));
    UnitHistory {
        verification_due: due(verified, question.verify_every_s),
        battery_due: due(last(EventKind::Battery), question.battery_every_s),
        retired,
        known,
        followed,
        events,
        verifications,
        decisions,
    }
}

fn done(events: &[Entry<Event>]) -> Vec<history::Event> {
    let kind = |e: &Entry<Event>| history::EventKind::named(e.what.kind.word());
    let of = |e: &Entry<Event>| Some(history::Event { at_s: seconds(e.at), kind: kind(e)? });
    events.iter().filter_map(of).collect()
}

/// Readings of a unit, and the stations they were taken at.
#[derive(Default)]
struct Series {
    points: Vec<(Tracked, Vec<Point>)>,
    stations: Vec<EntryId>,
}

fn series(
    records: &Records,
    to: Timestamp,
    unit: Option<EntryId>,
) -> Result<HashMap<EntryId, Series>> {
    let temperatures = records.temperatures_c()?;
    let names: Vec<&str> = TRACKED.iter().map(|q| q.name).collect();
    let wanted = Wanted { unit, quantities: &names, to: Some(to), ..Wanted::default() };
    let mut all: HashMap<EntryId, Series> = HashMap::new();
    // They come unit by unit: the map is asked once for each.
    let mut current: Option<(EntryId, Series)> = None;
    records.each_value(&wanted, |value| {
        if current.as_ref().is_none_or(|(unit, _)| *unit != value.unit) {
            all.extend(current.take());
        }
        let (_, series) = current.get_or_insert_with(|| (value.unit, Series::default()));
        let point = Point {
            at_s: seconds(value.at),
            value: value.reading,
            temperature_c: value.capture.and_then(|id| temperatures.get(&id).copied()),
        };
        match series.points.iter_mut().find(|(quantity, _)| quantity.name == value.quantity) {
            Some((_, points)) => points.push(point),
            None => series
                .points
                .extend(Tracked::named(value.quantity).map(|quantity| (quantity, vec![point]))),
        }
        if let Some(station) = value.station.filter(|id| series.stations.last() != Some(id)) {
            series.stations.push(station);
        }
    })?;
    all.extend(current);
    Ok(all)
}

/// The station of this name as it was recorded last until then; where it was only
/// recorded later, as it was first.
fn station_named(records: &Records, name: &str, to: Timestamp) -> Result<Entry<records::Station>> {
    let all = records.stations()?;
    let of_name = || all.iter().filter(|s| s.what.name == name);
    let known = of_name().rfind(|s| s.at <= to).or_else(|| of_name().min_by_key(|s| s.at));
    known.cloned().ok_or_else(|| {
        let mut names: Vec<&str> = all.iter().map(|s| s.what.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        Error::file(
            records.path().display(),
            format!("holds no station \"{name}\" ; its stations: {names}"),
            "give one of these, or enter its file: coilrig records station",
        )
    })
}

/// The units that a station's file names, by name or serial number, and those that were
/// measured there.
fn units_of(
    records: &Records,
    station: &Entry<records::Station>,
    series: &HashMap<EntryId, Series>,
) -> Result<Vec<KnownUnit>> {
    let entries: Vec<EntryId> = records
        .stations()?
        .into_iter()
        .filter(|s| s.what.name == station.what.name)
        .map(|s| s.id)
        .collect();
    let planned = layout(records, station)?.units;
    let belongs = |unit: &KnownUnit| {
        let what = &unit.entry.what;
        let by_file = planned
            .iter()
            .any(|p| p.name == what.name || (p.serial.is_some() && p.serial == what.serial));
        let measured = series.get(&unit.unit);
        by_file || measured.is_some_and(|s| s.stations.iter().any(|id| entries.contains(id)))
    };
    Ok(records.units()?.into_iter().filter(belongs).collect())
}

/// The station that its recorded file describes.
///
/// # Errors
///
/// A file that this program cannot read.
pub fn layout(records: &Records, station: &Entry<records::Station>) -> Result<Station> {
    Station::parse(&station.what.file_toml).map_err(|e| {
        let place = format!("{}, entry {}", records.path().display(), station.id);
        Error::file(place, e.what, "enter a mended file of the station: coilrig records station")
    })
}

fn by_unit<T>(
    entries: Vec<Entry<T>>,
    unit: fn(&Entry<T>) -> EntryId,
    there: impl Fn(&Entry<T>) -> bool,
) -> HashMap<EntryId, Vec<Entry<T>>> {
    let mut all: HashMap<EntryId, Vec<Entry<T>>> = HashMap::new();
    for entry in entries.into_iter().filter(there) {
        all.entry(unit(&entry)).or_default().push(entry);
    }
    all
}

fn calibrations(records: &Records, to: Timestamp) -> Result<Vec<ReceiverCalibration>> {
    let mut newest: Vec<Entry<Calibration>> = Vec::new();
    for entry in records.calibrations()?.into_iter().filter(|c| c.at <= to) {
        let same =
            |c: &&mut Entry<Calibration>| c.what.receiver_serial == entry.what.receiver_serial;
        match newest.iter_mut().find(same) {
            Some(other) if entry.at >= other.at => *other = entry,
            Some(_) => {}
            None => newest.push(entry),
        }
    }
    let ends = |entry: &Entry<Calibration>| {
        let last_day: Date = entry.what.valid_until.as_deref()?.parse().ok()?;
        Some(Due::At(midnight(last_day.tomorrow().ok()?)?))
    };
    Ok(newest.into_iter().map(|entry| ReceiverCalibration { ends: ends(&entry), entry }).collect())
}
