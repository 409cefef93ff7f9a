//! Everything that follows from a table of field over distance.

use serde::Serialize;

use super::fit::{DipoleFit, OffsetChoice, fit};
use super::fitted::Fitted;
use super::outliers::{self, Outlier};
use super::reach::Reach;
use super::readings::{Alignment, FieldReading, RangeError};
use super::slope::slope;
use crate::field::constants::NOMINAL_CARRIER_HZ;
use crate::field::solenoid::Solenoid;
use crate::limits;
use crate::reading::Reading;

/// What to do with the readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Carrier, Hz.
    pub frequency_hz: f64,
    /// Whether to fit an offset of distance.
    pub offset: OffsetChoice,
    /// Receiver thresholds to give ranges for, A/m.
    pub thresholds_a_per_m: Vec<f64>,
    /// Relative standard uncertainty of the field that all readings share, as
    /// that of their calibration; not contained in their own.
    pub u_calibration_rel: f64,
}

/// What readings share of relative standard uncertainties `u_rel`, one of each
/// reading: their mean; 0 when there are none. One calibration puts the same
/// error, but for its direction, into every reading.
pub fn common_u_rel(u_rel: &[f64]) -> f64 {
    u_rel.iter().sum::<f64>() / u_rel.len().max(1) as f64
}

impl Default for Options {
    /// 457 kHz, an offset if the readings show one, the field that a receiver of
    /// the standard must still work at, and nothing shared by the readings.
    fn default() -> Self {
        Self {
            frequency_hz: NOMINAL_CARRIER_HZ,
            offset: OffsetChoice::Auto,
            thresholds_a_per_m: vec![limits::RECEIVER_THRESHOLD.field_a_per_m],
            u_calibration_rel: 0.0,
        }
    }
}

/// Results of a table of field over distance.
#[derive(Clone, Debug, Serialize)]
pub struct RangeAnalysis {
    /// Moment of the transmitter, A·m².
    pub moment_a_m2: Reading,
    /// Coaxial field at 10 m by the fit, A/m.
    pub field_at_10_m_a_per_m: Reading,
    /// Free power-law exponent of field over stated distance.
    pub slope: Reading,
    /// True less stated distance, m, when it was fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_offset_m: Option<Reading>,
    /// Measured over fitted field of each reading in dB, in the order given: the
    /// coupling of the way between the coils as compared with free space. u is
    /// that of the reading alone; the fit's own is
    /// [`DipoleFit::field_beside_readings`].
    pub residuals_db: Vec<Reading>,
    /// Range for every threshold and alignment.
    pub ranges: Vec<Reach>,
    /// Relative standard uncertainty shared by all readings. Contained in those
    /// of moment, field at 10 m and ranges; slope, offset and residuals are free
    /// of it.
    pub u_calibration_rel: f64,
    /// χ² of the fit.
    pub chi_squared: f64,
    /// Readings less fitted parameters.
    pub degrees_of_freedom: usize,
    /// Readings that do not belong with the others. All results above are with them.
    pub outliers: Vec<Outlier>,
    /// The results without them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub without_outliers: Option<Fitted>,
    /// What a careful person would want to know about these results.
    pub notes: Vec<String>,
    /// The fit itself, for drawing.
    #[serde(skip)]
    pub fit: DipoleFit,
}

/// Fit a dipole to `readings` and derive what follows.
///
/// # Errors
///
/// Readings that cannot be fitted, a senseless threshold or shared uncertainty:
/// [`RangeError`].
pub fn analyse(readings: &[FieldReading], options: &Options) -> Result<RangeAnalysis, RangeError> {
    let u_calibration_rel = options.u_calibration_rel;
    if !(u_calibration_rel >= 0.0 && u_calibration_rel.is_finite()) {
        return Err(RangeError::Calibration(u_calibration_rel));
    }
    let of = |readings: &[FieldReading]| {
        fit(readings, options.offset, options.frequency_hz)
            .map(|fit| fit.with_common(u_calibration_rel))
    };
    let fit = of(readings)?;
    let slope = slope(readings)?;
    let fitted = Fitted::of(&fit, &options.thresholds_a_per_m)?;
    let outliers = outliers::find(readings, options.offset, &fit.theory);
    let without_outliers = (!outliers.is_empty())
        .then(|| Fitted::of(&of(&without(readings, &outliers))?, &options.thresholds_a_per_m))
        .transpose()?;
    let notes = notes(readings, &fit, slope, &fitted.ranges);
    Ok(RangeAnalysis {
        moment_a_m2: fit.moment_a_m2,
        field_at_10_m_a_per_m: fit.field_at(Alignment::Coaxial, 10.0),
        slope,
        distance_offset_m: fit.distance_offset_m,
        residuals_db: residuals_db(readings, &fit),
        ranges: fitted.ranges,
        u_calibration_rel,
        chi_squared: fit.chi_squared,
        degrees_of_freedom: fit.degrees_of_freedom,
        outliers,
        without_outliers,
        notes,
        fit,
    })
}

/// Measured over fitted field of each reading in dB, u that of the reading alone.
pub(super) fn residuals_db(readings: &[FieldReading], fit: &DipoleFit) -> Vec<Reading> {
    let residual = |r: &FieldReading| {
        let theory = fit.field_at_stated(r.alignment, r.distance_m).value;
        Reading::new(decibels(r.field_a_per_m / theory), DB_PER_NEPER * r.u_rel())
    };
    readings.iter().map(residual).collect()
}

/// The readings that are no outliers.
pub(super) fn without(readings: &[FieldReading], outliers: &[Outlier]) -> Vec<FieldReading> {
    let belongs = |row: usize| outliers.iter().all(|outlier| outlier.row != row);
    (1..).zip(readings).filter(|(row, _)| belongs(*row)).map(|(_, reading)| *reading).collect()
}

/// dB of a field per unit of its natural logarithm.
pub const DB_PER_NEPER: f64 = 20.0 * std::f64::consts::LOG10_E;

fn decibels(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

/// Coaxial field at 10 m, A/m, outside of which numbers have the wrong unit:
/// a factor of a hundred on each side of 0.5 to 2.2 µA/m.
const BELIEVABLE_AT_10_M: std::ops::Range<f64> = 5e-9..2.2e-4;

/// A warning when no transmitter has this coaxial field (A/m) at 10 m.
pub(crate) fn unbelievable(at_10_m_a_per_m: f64) -> Option<String> {
    (!BELIEVABLE_AT_10_M.contains(&at_10_m_a_per_m)).then(|| {
        format!(
            "DO NOT USE: {} at 10 m is no 457 kHz transmitter's field; \
             check that the fields are in A/m (not nA/m) and the distances in m (not cm)",
            crate::units::field(at_10_m_a_per_m)
        )
    })
}

fn notes(
    readings: &[FieldReading],
    fit: &DipoleFit,
    slope: Reading,
    ranges: &[Reach],
) -> Vec<String> {
    let mut notes = unit_mix_ups(readings, fit);
    notes.extend(repetitions(readings));
    let at_10_m = fit.field_at(Alignment::Coaxial, 10.0).value;
    notes.extend(unbelievable(at_10_m));
    if fit.excess_scatter > 2.0 {
        notes.push(format!(
            "readings scatter {:.1} times their stated uncertainty about the fit; \
             the stated u of the results is widened by as much",
            fit.excess_scatter.sqrt()
        ));
    }
    if fit.distance_offset_m.is_none()
        && let Some(expected) = slope_of_theory(readings, fit)
        && (slope.value - expected).abs() > 0.1 + 3.0 * slope.u
    {
        notes.push(format!(
            "the field falls with the power {:.2} of distance where a dipole's falls with {expected:.2}: \
             look for metal or cables near by, wrong distances, a receiver driven too hard",
            slope.value
        ));
    }
    notes.extend(too_near_for_a_dipole(readings));
    let farthest_m = readings.iter().map(|r| r.distance_m).fold(0.0, f64::max);
    if ranges.iter().any(|reach| reach.range_m.value > 1.2 * farthest_m) {
        notes.push(format!(
            "a range beyond the farthest reading, {farthest_m} m, rests on a dipole in free \
             space; over ground it can be wrong by a quarter"
        ));
    }
    notes
}

/// The antenna of a transceiver, a rod with its winding: common practice, no source.
const ANTENNA: Solenoid = Solenoid { turns: 1.0, radius_m: 0.004, length_m: 0.1, current_a: 1.0 };
/// How far a dipole may be off a rod before it is said, as a share of the field.
const GOOD_ENOUGH: f64 = 0.02;

/// Whether the nearest reading is so near that the length of the antenna shows.
fn too_near_for_a_dipole(readings: &[FieldReading]) -> Option<String> {
    let nearest_m = readings.iter().map(|r| r.distance_m).fold(f64::INFINITY, f64::min);
    let from_m = ANTENNA.dipole_good_from_m(GOOD_ENOUGH);
    (nearest_m < 0.95 * from_m).then(|| {
        format!(
            "the nearest reading, at {nearest_m} m, is so near that the length of the antenna \
             counts: a rod of 10 cm (common practice, no source) is a dipole within 2 % from \
             {} m on",
            crate::units::significant(from_m, 2)
        )
    })
}

/// Rows that hold the very same numbers: one reading, counted twice.
fn repetitions(readings: &[FieldReading]) -> Vec<String> {
    let first_like = |reading| readings.iter().position(|other| other == reading);
    (readings.iter().enumerate())
        .filter_map(|(i, reading)| first_like(reading).filter(|first| *first < i).zip(Some(i)))
        .map(|(first, again)| {
            format!(
                "row {} repeats row {} to the last digit: one reading counted twice makes \
                 every uncertainty too small",
                again + 1,
                first + 1
            )
        })
        .collect()
}

/// The slope that the fitted dipole would show at the same places.
fn slope_of_theory(readings: &[FieldReading], fit: &DipoleFit) -> Option<f64> {
    let clean: Vec<_> = readings
        .iter()
        .map(|r| FieldReading {
            field_a_per_m: fit.field_at_stated(r.alignment, r.distance_m).value,
            ..*r
        })
        .collect();
    slope(&clean).ok().map(|s| s.value)
}

/// Rows a factor of about 1000 off the others once distance is allowed for, as
/// when one was written in µA/m among mA/m.
fn unit_mix_ups(readings: &[FieldReading], fit: &DipoleFit) -> Vec<String> {
    let implied: Vec<f64> = readings
        .iter()
        .map(|r| r.field_a_per_m / fit.field_at(r.alignment, r.distance_m).value)
        .collect();
    let mut sorted = implied.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    (1..)
        .zip(implied)
        .filter_map(|(row, moment)| {
            let off = (moment / median).log10();
            ((2.3..3.7).contains(&off.abs())).then(|| {
                let way = if off > 0.0 { "above" } else { "below" };
                format!(
                    "row {row} is about a factor of 1000 {way} the others: \
                     is its field in another unit?"
                )
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::fit::tests::readings;
    use super::*;

    #[test]
    fn field_at_10_m_is_the_moment_over_two_pi_thousand() {
        let analysis = analyse(&readings(6.3e-3, 0.0, 0.02, 1), &Options::default()).unwrap();
        let static_field = analysis.moment_a_m2.value / (2.0 * std::f64::consts::PI * 1000.0);
        // (kr)²/2 at 10 m is 0.46 %.
        let ratio = analysis.field_at_10_m_a_per_m.value / static_field;
        assert!((ratio - 1.0046).abs() < 1e-4, "{ratio}");
        let u_rel = analysis.field_at_10_m_a_per_m.u_rel() / analysis.moment_a_m2.u_rel();
        assert!((u_rel - 1.0).abs() < 1e-12);
    }

    /// Near by H ∝ 1/r³: a calibration of 6 % puts 2 % on the range.
    #[test]
    fn calibration_goes_into_all_that_scales_with_it() {
        let mut set = readings(1e-6, 0.0, 1e-12, 1);
        set.iter_mut().for_each(|r| r.u_field_a_per_m = 1e-6 * r.field_a_per_m);
        let with = |u_calibration_rel| {
            let options = Options { u_calibration_rel, ..Options::default() };
            analyse(&set, &options)
        };
        let (none, some) = (with(0.0).unwrap(), with(0.06).unwrap());
        assert!((some.moment_a_m2.u_rel() - 0.06).abs() < 1e-9);
        assert!((some.field_at_10_m_a_per_m.u_rel() - 0.06).abs() < 1e-9);
        assert!((some.ranges[0].range_m.u_rel() - 0.02).abs() < 1e-4);
        assert!((some.fit.field_at_stated(Alignment::Coaxial, 5.0).u_rel() - 0.06).abs() < 1e-9);
        assert_eq!(some.slope, none.slope);
        assert_eq!(some.residuals_db, none.residuals_db);
        for senseless in [-0.1, f64::NAN, f64::INFINITY] {
            assert!(matches!(with(senseless), Err(RangeError::Calibration(_))));
        }
    }

    #[test]
    fn a_shared_share_is_the_mean_of_what_is_stated() {
        assert_eq!(common_u_rel(&[]), 0.0);
        assert!((common_u_rel(&[0.02, 0.03, 0.04]) - 0.03).abs() < 1e-15);
    }

    #[test]
    fn a_reading_out_of_line_shows_as_its_decibels() {
        let mut set = readings(6.3e-3, 0.0, 1e-9, 1);
        set.iter_mut().for_each(|r| r.u_field_a_per_m = 0.01 * r.field_a_per_m);
        // Too uncertain to pull the fit.
        set[3].field_a_per_m *= 2.0;
        set[3].u_field_a_per_m = 10.0 * set[3].field_a_per_m;
        let analysis = analyse(&set, &Options::default()).unwrap();
        assert!((analysis.residuals_db[3].value - 6.0206).abs() < 1e-3);
        assert!((analysis.residuals_db[0].u - 0.0869).abs() < 1e-4);
    }

    #[test]
    fn one_row_in_another_unit_is_pointed_out() {
        let mut set = readings(6.3e-3, 0.0, 0.02, 1);
        set[4].field_a_per_m *= 1e3;
        set[4].u_field_a_per_m *= 1e3;
        let notes = analyse(&set, &Options::default()).unwrap().notes;
        assert!(notes[0].starts_with("row 5 is about a factor of 1000 above"), "{notes:?}");
    }

    #[test]
    fn a_reading_written_twice_is_pointed_out() {
        let mut set = readings(6.3e-3, 0.0, 0.02, 1);
        set.insert(6, set[2]);
        let notes = analyse(&set, &Options::default()).unwrap().notes;
        assert!(notes[0].starts_with("row 7 repeats row 3 to the last digit"), "{notes:?}");
    }

    /// Thin rod: L²/2r² = 2 % at five lengths.
    #[test]
    fn readings_within_five_lengths_of_the_antenna_are_pointed_out() {
        let mut set = readings(6.3e-3, 0.0, 0.02, 1);
        set.push(FieldReading {
            distance_m: 0.4,
            field_a_per_m: Alignment::Coaxial.field_a_per_m(6.3e-3, 0.4, 457e3),
            u_field_a_per_m: 1e-4,
            alignment: Alignment::Coaxial,
        });
        let notes = analyse(&set, &Options::default()).unwrap().notes.join("\n");
        assert!(notes.contains("at 0.4 m, is so near") && notes.contains("from 0.5 m"), "{notes}");
    }

    #[test]
    fn an_outlier_is_named_and_its_weight_shown() {
        let mut set = readings(6.3e-3, 0.0, 0.02, 1);
        set[4].field_a_per_m *= 1.5;
        let analysis = analyse(&set, &Options::default()).unwrap();
        assert_eq!(analysis.outliers.len(), 1);
        let without = analysis.without_outliers.unwrap();
        let error = |moment: Reading| (moment.value / 6.3e-3 - 1.0).abs();
        assert!(error(without.moment_a_m2) < error(analysis.moment_a_m2));
        assert_eq!(without.ranges.len(), analysis.ranges.len());
    }

    /// Random surveys: moment and range at 80 nA/m with readings of 3 %.
    #[test]
    fn random_surveys_give_moment_and_range_with_their_uncertainty() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal, Uniform};
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(457);
        let place = Uniform::new(0.0_f64, 1.0).unwrap();
        let (mut moments, mut worst, surveys) = (0.0, 0.0_f64, 300);
        for _ in 0..surveys {
            let truth = 2e-3 * 5f64.powf(place.sample(&mut rng));
            let set: Vec<_> = (0..16)
                .map(|i| {
                    let distance_m = 1.5 * 12f64.powf(place.sample(&mut rng));
                    let alignment = Alignment::ALL[i % 2];
                    let error: f64 = StandardNormal.sample(&mut rng);
                    let field_a_per_m =
                        alignment.field_a_per_m(truth, distance_m, 457e3) * (0.03 * error).exp();
                    let u_field_a_per_m = 0.03 * field_a_per_m;
                    FieldReading { distance_m, field_a_per_m, u_field_a_per_m, alignment }
                })
                .collect();
            let options = Options { offset: OffsetChoice::No, ..Options::default() };
            let analysis = analyse(&set, &options).unwrap();
            moments += ((analysis.moment_a_m2.value - truth) / analysis.moment_a_m2.u).powi(2);
            let (mut near, mut far) = (1.0, 200.0);
            for _ in 0..60 {
                let middle = 0.5 * (near + far);
                let field = Alignment::Coaxial.field_a_per_m(truth, middle, 457e3);
                if field > 80e-9 { near = middle } else { far = middle }
            }
            worst = worst.max((analysis.ranges[0].range_m.value / near - 1.0).abs());
        }
        let rms = (moments / f64::from(surveys)).sqrt();
        assert!((0.8..1.25).contains(&rms) && worst < 0.02, "{rms}, range {worst}");
    }

    #[test]
    fn good_readings_that_reach_far_enough_raise_no_note() {
        let analysis = analyse(&readings(6.3e-3, 0.0, 0.02, 1), &Options::default()).unwrap();
        assert_eq!(analysis.notes, Vec::<String>::new());
    }

    #[test]
    fn a_wrong_power_and_a_far_range_are_pointed_out() {
        let mut set = readings(6.3e-3, 0.0, 0.02, 1);
        set.retain(|r| r.distance_m < 10.0);
        set.iter_mut().for_each(|r| r.field_a_per_m *= r.distance_m);
        let options = Options { offset: OffsetChoice::No, ..Options::default() };
        let notes = analyse(&set, &options).unwrap().notes.join("\n");
        for part in ["widened", "power -1.96", "beyond the farthest reading, 8 m"] {
            assert!(notes.contains(part), "{part} in {notes}");
        }
    }

    #[test]
    fn names_in_json_are_those_of_the_contract() {
        let options = Options { offset: OffsetChoice::No, ..Options::default() };
        let analysis = analyse(&readings(6.3e-3, 0.0, 0.02, 1), &options).unwrap();
        let json = serde_json::to_value(&analysis).unwrap();
        for name in ["moment_a_m2", "field_at_10_m_a_per_m", "slope"] {
            assert!(json[name]["value"].is_f64() && json[name]["u"].is_f64(), "{name}");
        }
        assert!(json.get("distance_offset_m").is_none() && json["residuals_db"].is_array());
        let first = &json["ranges"][0];
        assert_eq!(first["alignment"], "coaxial");
        assert_eq!(first["threshold_a_per_m"]["value"], 80e-9);
        assert!(first["range_m"]["u"].is_f64());
    }
}
