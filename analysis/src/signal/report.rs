//! From the sums of the trains to the numbers that are reported.

use super::CARRIER_HZ;
use super::format::{Calibration, StreamFormat};
use super::identity::{self, Unit};
use super::measurement::{Measurement, PulseCount, TOO_WEAK, Transmitter};
use super::steady::SteadyCarrier;
use super::tracker::{Tracker, Train};
use crate::reading::Reading;

/// What the analysis knows besides the trains.
pub(super) struct SoFar {
    pub samples: u64,
    pub gaps: usize,
    pub noise_counts_rthz: Vec<f64>,
    pub stray: usize,
    /// Offset and time heard of steady carriers.
    pub steady: Vec<(f64, f64)>,
}

/// A train with fewer pulses than this share of those due is chance.
const LEAST_FOUND: f64 = 0.4;

/// A train seen only under the pulses of others must be longer than what their
/// flaws make up: pulses that nothing overlaps, or pulses at all.
const LEAST_CLEAN: usize = 2;
const LEAST_OVERLAPPED: usize = 12;
/// A steady carrier this close to a unit's, or heard for less, is not spoken of.
const LEAK_HZ: f64 = 1.0;
const LEAST_HEARD_S: f64 = 5.0;
/// What is left of a flawed pulse lies within so much of it, in time and in frequency;
const FLAW_OUTSIDE_S: f64 = 0.03;
const FLAW_HZ: f64 = 80.0;
/// and its own timing, made of chance pieces, may be off by no more.
const MOST_UNSURE_S: f64 = 0.05;
/// Share of the time that a unit may be on while others always are too.
const MOST_ON: f64 = 0.75;
/// How well what fills the pauses of a unit fits between its pulses.
const PAUSE_S: f64 = 0.04;
/// Less sag is nothing to speak of.
const LEAST_SAG: f64 = 0.03;
/// Periods that differ by less are nothing to speak of.
const IRREGULAR_S: f64 = 1e-4;

/// Sum up.
pub(super) fn report(
    format: &StreamFormat,
    calibration: &Calibration,
    tracker: &Tracker,
    so_far: SoFar,
) -> Measurement {
    let clock = calibration.clock_ratio();
    let duration_s = so_far.samples as f64 / format.sample_rate_hz / clock;
    let trains: Vec<Train> = tracker.trains.iter().map(Train::with_true_period).collect();
    let credible = |unit: &Unit| {
        let sums = &unit.train.sums;
        let clean = sums.found - sums.overlapped;
        let whole = duration_s / clock / sums.period().reading.value;
        // On for most of the time and never alone: pieces of a carrier that is always on.
        let pieces = clean == 0 && sums.on_time().value > MOST_ON * sums.period().reading.value;
        (unit.train.faint || sums.found as f64 >= LEAST_FOUND * unit.expected as f64)
            && !pieces
            && sums.found >= 2
            && (clean >= LEAST_CLEAN
                || unit.train.faint
                || sums.found >= LEAST_OVERLAPPED
                || sums.found as f64 > 0.8 * whole)
    };
    let mut units = identity::units(&trains, &tracker.gaps);
    units.retain(credible);
    let cut: Vec<bool> =
        units.iter().map(|u| units.iter().any(|by| fills_pauses(&u.train, &by.train))).collect();
    let mut cut = cut.into_iter();
    units.retain(|_| cut.next() != Some(true));
    let strength = |unit: &Unit| unit.train.sums.magnitude().value;
    units.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
    let mut transmitters: Vec<Transmitter> = Vec::new();
    let mut real: Vec<&Unit> = Vec::new();
    for unit in &units {
        if let Some(of) = real.iter().position(|strong| is_flaw(&unit.train, &strong.train)) {
            let note = "its pulses are not plain bursts of one carrier";
            if !transmitters[of].notes.iter().any(|n| n == note) {
                transmitters[of].notes.push(note.into());
            }
            continue;
        }
        real.push(unit);
        let label = format!("T{}", real.len());
        transmitters.push(transmitter(label, unit, format, calibration, duration_s));
    }
    // What a unit itself leaks is its residual carrier.
    let own = |hz: f64| transmitters.iter().any(|t| (t.carrier_hz.value - hz).abs() < LEAK_HZ);
    let steady_carriers = (so_far.steady.iter())
        .map(|(offset_hz, heard_s)| SteadyCarrier {
            carrier_hz: (CARRIER_HZ + offset_hz) * clock,
            heard_s: heard_s / clock,
        })
        .filter(|s| s.heard_s > LEAST_HEARD_S && !own(s.carrier_hz))
        .collect();
    let noise = calibration.field_matrix(format.axes).map(|g| {
        let along = |row: &[f64; 3]| -> f64 {
            row.iter().zip(&so_far.noise_counts_rthz).map(|(g, n)| (g * n).powi(2)).sum()
        };
        g[..format.axes].iter().map(|row| along(row).sqrt()).collect()
    });
    Measurement {
        duration_s,
        gaps: so_far.gaps,
        noise_a_per_m_rthz: noise,
        noise_counts_rthz: so_far.noise_counts_rthz,
        transmitters,
        stray_pulses: so_far.stray,
        steady_carriers,
    }
}

/// What begins where a unit's pulse ends and ends where its next one begins is a carrier
/// that is always on and that the unit's pulses hide, whole or in part.
fn fills_pauses(long: &Train, by: &Train) -> bool {
    let (own_s, on_s) = (long.sums.period().reading.value, long.sums.on_time().value);
    let (period_s, pulse_s) = (by.sums.period().reading.value, by.sums.on_time().value);
    let every = (own_s / period_s).round();
    let after_s = long.sums.first_on_s() - by.sums.first_on_s() - pulse_s;
    let aside_s = after_s - (after_s / period_s).round() * period_s;
    every >= 1.0
        && (own_s - every * period_s).abs() < PAUSE_S
        && (on_s + pulse_s - period_s).abs() < PAUSE_S
        && aside_s.abs() < PAUSE_S
        && on_s > pulse_s
}

/// Two real transmitters drift apart. One that starts and stops with a stronger
/// one, or always within its pulses, from the same direction, pulse for pulse, is a
/// flaw of that one's pulses: sagging, chirp, ringing that the model does not have.
fn is_flaw(weak: &Train, strong: &Train) -> bool {
    let (own, period) = (weak.sums.period().reading, strong.sums.period().reading.value);
    let every = (own.value / period).round().max(1.0);
    let apart_s = (own.value - every * period).abs() * weak.last as f64;
    let unsure_s = (2.0 * own.u * weak.last as f64).min(MOST_UNSURE_S);
    if weak.sums.overlapped as f64 <= 0.9 * weak.sums.found as f64 || apart_s > 0.01 + unsure_s {
        return false;
    }
    let offset = weak.sums.first_on_s() - strong.sums.first_on_s();
    let phase = offset - (offset / period).round() * period;
    let (a, b) = (weak.sums.direction().0, strong.sums.direction().0);
    let cosine: f64 = a.iter().zip(&b).map(|(x, y)| x * y).sum();
    let apart_hz = (weak.sums.carrier().value - strong.sums.carrier().value).abs();
    let (short_s, long_s) = (weak.sums.on_time().value, strong.sums.on_time().value);
    let ratio = weak.sums.magnitude().value / strong.sums.magnitude().value;
    // Where the coil turns during a pulse, what is left points another way.
    let whole = phase.abs() < 0.02
        && (short_s - long_s).abs() < 0.05
        && ((cosine.abs() > 0.95 && apart_hz < 30.0) || apart_hz < 6.0)
        && ratio < 0.3;
    let part = phase > -FLAW_OUTSIDE_S
        && phase + short_s < long_s + FLAW_OUTSIDE_S
        && cosine.abs() > 0.9
        && apart_hz < FLAW_HZ
        && (ratio < 0.8 || apart_hz < 6.0 || cosine.abs() > 0.98);
    whole || part
}

fn transmitter(
    label: String,
    unit: &Unit,
    format: &StreamFormat,
    calibration: &Calibration,
    duration_s: f64,
) -> Transmitter {
    let sums = &unit.train.sums;
    let clock = calibration.clock_ratio();
    let u_clock = calibration.clock_offset_u_ppm.unwrap_or(0.0) * 1e-6;
    // A clock that runs fast counts too many seconds and too few hertz.
    let in_time =
        |r: Reading| Reading::new(r.value / clock, (r.u / clock).hypot(r.value * u_clock));
    let chirp = sums.chirp();
    let running_on = sums.running_on();
    let mut offset = running_on.map_or(sums.carrier(), |r| r.offset_hz);
    let drift = running_on.map_or(sums.drift(), |r| r.drift_hz_per_s);
    if let Some(chirp) = &chirp {
        offset.value += chirp.settled_hz.value;
        offset.u = offset.u.hypot(chirp.settled_hz.u);
    }
    let carrier =
        Reading::new((CARRIER_HZ + offset.value) * clock, offset.u.hypot(CARRIER_HZ * u_clock));
    let period = sums.period();
    let on_time = sums.on_time();
    let off_time =
        Reading::new(period.reading.value - on_time.value, period.reading.u.hypot(on_time.u));
    let (direction, aside) = sums.direction();
    let amplitude = sums.magnitude();
    let field = calibration.field_matrix(format.axes).map(|matrix| {
        let axis = |i: usize| -> f64 { (0..3).map(|j| matrix[i][j] * direction[j]).sum() };
        let raw: [f64; 3] = std::array::from_fn(axis);
        let length = raw.iter().map(|h| h * h).sum::<f64>().sqrt();
        let unit = raw.map(|h| h / length);
        let vector: Vec<f64> = unit.iter().map(|h| h * amplitude.value).collect();
        let u_rel = calibration.field_per_count_u_rel.as_deref().unwrap_or(&[]);
        // What all channels share is that of the magnitude, whichever its direction.
        let common = calibration.field_per_count_u_common_rel.unwrap_or(0.0);
        let u_calibration = amplitude.value
            * u_rel.iter().enumerate().fold(common, |u, (j, rel)| {
                let along: f64 = (0..3).map(|i| unit[i] * matrix[i][j] * direction[j]).sum();
                let own = (rel * rel - common * common).max(0.0).sqrt();
                u.hypot(along / length * own)
            });
        let field = Reading::new(amplitude.value, amplitude.u.hypot(u_calibration));
        (field, vector, u_calibration / amplitude.value)
    });
    let pulses =
        PulseCount { expected: unit.expected, found: sums.found, overlapped: sums.overlapped };
    let irregular = period.wanders && period.jitter_s > IRREGULAR_S;
    // That of an earlier train is only known as measured.
    let fitted = !irregular && unit.first_on_s == sums.first_on_s();
    let first_on_s = if fitted { sums.fitted_first_on_s() } else { unit.first_on_s };
    let first_pulse_s = first_on_s / clock;
    let mut notes = Vec::new();
    if calibration.field_per_count.is_none() {
        notes.push("no field values: the capture is not calibrated (no field_per_count)".into());
    }
    if calibration.clock_offset_ppm.is_none() {
        notes.push(
            "carrier and times are by the receiver's own clock, which is not calibrated".into(),
        );
    }
    if unit.train.faint {
        notes.push(TOO_WEAK.into());
    }
    if pulses.found < 4 {
        notes.push(format!("only {} pulses: record for longer", pulses.found));
    }
    if pulses.found < pulses.expected {
        notes.push(format!(
            "{} of {} pulses missed",
            pulses.expected - pulses.found,
            pulses.expected
        ));
    }
    let silent_s = duration_s - (unit.last_on_s / clock + period.reading.value);
    if first_pulse_s > 2.5 * period.reading.value {
        notes.push(format!("first heard {first_pulse_s:.1} s after the start of the capture"));
    }
    let blind_s = if unit.train.faint { 20.0 } else { 2.5 * period.reading.value };
    if silent_s > blind_s {
        notes.push(format!("not heard in the last {silent_s:.1} s of the capture"));
    }
    if pulses.overlapped == pulses.found {
        notes.push("every pulse overlaps with another transmitter's".into());
    }
    if sums.residual_ratio().u >= 1.0 && !unit.train.faint {
        notes.push("residual carrier not measured: no quiet time between the pulses".into());
    }
    if running_on.is_some() {
        notes.push(
            "the carrier's phase runs on from pulse to pulse: carrier and drift are measured by it"
                .into(),
        );
    }
    if let Some(chirp) = &chirp {
        notes.push(format!(
            "chirp: in the first 10 ms the carrier is {:+.1} Hz off the settled one, which \
             is reported; it settles with {:.1} ms",
            chirp.key_on_hz.value,
            chirp.settling_s * 1e3
        ));
    }
    if let Some(sag) = sums.sag().filter(|sag| sag.value.abs() > LEAST_SAG) {
        let goes = if sag.value > 0.0 { "falls" } else { "rises" };
        notes.push(format!(
            "the amplitude {goes} by {:.0} % during a pulse",
            100.0 * sag.value.abs()
        ));
    }
    notes.extend(unit.notes.iter().cloned());
    let change = period.change_s;
    let drifts = change.value.abs() > 5e-5_f64.max(4.0 * change.u);
    if drifts {
        notes.push(format!("the period changed by {:+.2} ms over the capture", change.value * 1e3));
    }
    if irregular && !drifts {
        notes.push("irregular timing: the single periods differ".into());
    }
    let moved = aside > 0.02 || sums.magnitude_scatter() > 0.1;
    if moved {
        notes.push("the field changed from pulse to pulse: the coil or the unit moved".into());
    }
    Transmitter {
        label,
        trains: unit.trains.clone(),
        carrier_hz: carrier,
        carrier_drift_hz_per_s: drift.scaled(clock * clock),
        key_on_chirp_hz: chirp.map(|c| c.key_on_hz.scaled(clock)),
        period_s: in_time(period.reading),
        period_jitter_s: period.jitter_s / clock,
        on_time_s: in_time(on_time),
        off_time_s: in_time(off_time),
        field_a_per_m: field.as_ref().map(|f| f.0),
        u_calibration_rel: field.as_ref().map_or(0.0, |f| f.2),
        field_vector_a_per_m: field.map(|f| f.1[..format.axes].to_vec()),
        channel_direction: direction,
        moved,
        amplitude,
        residual_carrier_ratio: sums.residual_ratio(),
        pulses,
        first_pulse_s,
        notes,
    }
}
