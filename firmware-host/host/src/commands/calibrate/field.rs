//! `coilrig calibrate loop` and `pair`: one coil in a known field.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::calibration::scale::{self, AXES, NoScale};
use coilrig_analysis::calibration::source::{Arrangement, Source};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units;

use super::super::Outcome;
use super::common::{
    Common, Heard, Plan, above_zero, any_number, heard, refused, signals, zero_or_more,
};
use crate::calibrating::{self, Task};
use crate::calibration::Record;
use crate::calibration::records::{BudgetLine, ReferenceRecord};
use crate::error::{Error, Result};

/// One coil in the field of a loop of known turns, radius and current
///
/// Lay the coil along the axis of the loop, at the stated distance between the
/// centres, away from metal. Take at least three repeats, better five, with the
/// receiver placed anew for each: their scatter then tells how well it is placed.
/// A steady carrier or a unit's pulses may drive the loop.
#[derive(Args)]
#[command(after_help = LOOP_EXAMPLE)]
pub struct Loop {
    #[command(flatten)]
    pub common: Common,
    #[command(flatten)]
    coil: Coil,
    /// Distance from the loop's centre along its axis, m
    #[arg(long, value_name = "M", allow_negative_numbers = true, value_parser = any_number)]
    distance: f64,
    /// Its standard uncertainty, m
    #[arg(long, value_name = "M", value_parser = zero_or_more)]
    u_distance: f64,
    /// Distance of the coil from the axis, the coil parallel to it, m
    #[arg(long, value_name = "M", default_value_t = 0.0, value_parser = zero_or_more)]
    off_axis: f64,
    /// Its standard uncertainty, m [default: that of the distance]
    #[arg(long, value_name = "M", value_parser = zero_or_more)]
    u_off_axis: Option<f64>,
}

const LOOP_EXAMPLE: &str = "\
Example:
  coilrig calibrate loop --out CR-0001.toml --axis x --by \"first bench\" \\
      --turns 10 --radius 0.15 --u-radius 0.0005 --current 1e-4 --u-current 5e-7 \\
      --distance 1 --u-distance 0.002 --capture x1 x2 x3 x4 x5

The loop transmits on a rescue frequency: never switch it on near a rescue.";

/// One coil in the middle of a Helmholtz pair of known turns, radius and current
///
/// Two equal loops on one axis, half a radius on either side of the middle, the
/// current in the same sense: B = (4/5)^(3/2) µ0 N I / R in the middle, and flat
/// about it. Take at least three repeats with the receiver placed anew for each.
#[derive(Args)]
#[command(after_help = PAIR_EXAMPLE)]
pub struct Pair {
    #[command(flatten)]
    pub common: Common,
    #[command(flatten)]
    coil: Coil,
    /// Distance between the loops, m [default: the radius]
    #[arg(long, value_name = "M", value_parser = above_zero)]
    spacing: Option<f64>,
    /// Its standard uncertainty, m [default: that of the radius]
    #[arg(long, value_name = "M", value_parser = zero_or_more)]
    u_spacing: Option<f64>,
    /// Standard uncertainty of the coil's place, in each direction, m
    #[arg(long, value_name = "M", default_value_t = 0.005, value_parser = zero_or_more)]
    u_place: f64,
}

const PAIR_EXAMPLE: &str = "\
Example:
  coilrig calibrate pair --out CR-0001.toml --axis z --turns 1 --radius 0.3 \\
      --u-radius 0.001 --current 5e-6 --u-current 2.5e-8 --capture z1 z2 z3 z4 z5

The pair transmits on a rescue frequency: never switch it on near a rescue.";

/// What loop and pair have in common.
#[derive(Args)]
struct Coil {
    /// The receiver's coil that lies along the axis
    #[arg(long, value_name = "COIL")]
    axis: Axis,
    /// Turns, of each loop
    #[arg(long, value_name = "N", value_parser = above_zero)]
    turns: f64,
    /// Radius, m
    #[arg(long, value_name = "M", value_parser = above_zero)]
    radius: f64,
    /// Its standard uncertainty, m
    #[arg(long, value_name = "M", value_parser = zero_or_more)]
    u_radius: f64,
    /// RMS current, of pulses while they are on, A
    #[arg(long, value_name = "A", value_parser = above_zero)]
    current: f64,
    /// Its standard uncertainty, A
    #[arg(long, value_name = "A", value_parser = zero_or_more)]
    u_current: f64,
    /// Standard uncertainty of the angle between coil and axis, degrees
    #[arg(long, value_name = "DEG", default_value_t = 3.0, value_parser = zero_or_more)]
    u_angle: f64,
    /// Largest extent of the receiver's coil or rod, m
    #[arg(long, value_name = "M", default_value_t = 0.1, value_parser = zero_or_more)]
    coil_size: f64,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Axis {
    X,
    Y,
    Z,
}

impl Loop {
    /// The coil's number.
    pub fn axis(&self) -> usize {
        self.coil.axis as usize
    }

    /// The loop and the place of the coil.
    pub fn source(&self) -> Source {
        Source {
            distance_m: Reading::new(self.distance, self.u_distance),
            offset_m: Reading::new(self.off_axis, self.u_off_axis.unwrap_or(self.u_distance)),
            ..self.coil.source(Arrangement::Loop)
        }
    }
}

impl Pair {
    /// The coil's number.
    pub fn axis(&self) -> usize {
        self.coil.axis as usize
    }

    /// The pair and the place of the coil.
    pub fn source(&self) -> Source {
        let spacing_m = self.spacing.unwrap_or(self.coil.radius);
        Source {
            spacing_m: Reading::new(spacing_m, self.u_spacing.unwrap_or(self.coil.u_radius)),
            distance_m: Reading::new(0.0, self.u_place),
            offset_m: Reading::new(0.0, self.u_place),
            ..self.coil.source(Arrangement::Pair)
        }
    }
}

impl Coil {
    fn source(&self, arrangement: Arrangement) -> Source {
        let nothing = Reading::new(0.0, 0.0);
        Source {
            arrangement,
            turns: self.turns,
            radius_m: Reading::new(self.radius, self.u_radius),
            current_a: Reading::new(self.current, self.u_current),
            spacing_m: nothing,
            distance_m: nothing,
            offset_m: nothing,
            u_angle_deg: self.u_angle,
            coil_size_m: self.coil_size,
        }
    }
}

/// Measure one coil in the field of `source` and add it to the file.
pub fn run(common: &Common, source: &Source, axis: usize) -> Result<Outcome> {
    // Better known before anybody records.
    source.check().map_err(|e| Error::usage(e.to_string(), "correct the options of the source"))?;
    let part = format!("{}-{}", name_of(source.arrangement), AXES[axis]);
    let task = Repeats { source, axis };
    let plan = Plan {
        part: &part,
        reference: in_words(source),
        coils: axis + 1,
        is_of_any_gain: false,
        count: 5,
        seconds: 10.0,
        task: &task,
    };
    let Some(Heard { gathered, listened, update }) = common.listen(&plan)? else {
        return Ok(Outcome::Done);
    };
    let repeats: Vec<_> = listened.iter().map(|l| l.signal.repeat()).collect();
    let budget = scale::field_per_count(source, &repeats, axis)
        .map_err(|e| refused(&gathered.captures, &e, remedy(&e)))?;
    let record = ReferenceRecord {
        kind: source.arrangement,
        axis: AXES[axis].into(),
        gain_step: update.gain_step,
        field_per_count: budget.value,
        u_rel: budget.u / budget.value,
        degrees_of_freedom: budget.degrees_of_freedom,
        u_source_rel: scale::of_source_rel(&budget),
        field_a_per_m: source.field_a_per_m().abs(),
        turns: source.turns,
        radius_m: source.radius_m.value,
        u_radius_m: source.radius_m.u,
        current_a: source.current_a.value,
        u_current_a: source.current_a.u,
        spacing_m: source.spacing_m.value,
        u_spacing_m: source.spacing_m.u,
        distance_m: source.distance_m.value,
        u_distance_m: source.distance_m.u,
        offset_m: source.offset_m.value,
        u_offset_m: source.offset_m.u,
        u_angle_deg: source.u_angle_deg,
        coil_size_m: source.coil_size_m,
        made: common.about().made(),
        reading: listened.iter().map(calibrating::Listened::raw).collect(),
        budget: BudgetLine::all(&budget),
    };
    common.finish(gathered, update, Record::Reference(record))?;
    Ok(Outcome::Done)
}

/// A source as it stands in the journal: captures in another are no repeats.
fn in_words(source: &Source) -> String {
    let Source { turns, radius_m, current_a, spacing_m, distance_m, offset_m, .. } = source;
    format!(
        "{turns} turns of {} m, {} A, {} m apart, the coil {} m along and {} m beside the axis",
        radius_m.value, current_a.value, spacing_m.value, distance_m.value, offset_m.value
    )
}

fn name_of(arrangement: Arrangement) -> &'static str {
    match arrangement {
        Arrangement::Loop => "loop",
        Arrangement::Pair => "pair",
    }
}

/// Repeats of one coil in one place.
struct Repeats<'a> {
    source: &'a Source,
    axis: usize,
}

impl Task for Repeats<'_> {
    fn before(&self, number: usize, _: usize) -> String {
        let (coil, source) = (AXES[self.axis], self.source);
        let place = match source.arrangement {
            Arrangement::Pair => "in the middle of the pair".to_owned(),
            Arrangement::Loop if source.offset_m.value > 0.0 => format!(
                "{} m along the axis and {} m beside it, from the loop's centre",
                source.distance_m.value, source.offset_m.value
            ),
            Arrangement::Loop => {
                format!("on the axis, {} m from the loop's centre", source.distance_m.value)
            }
        };
        let again = if number > 1 { "take it up and place it anew" } else { "place it" };
        format!("coil {coil} parallel to the axis, {place}: {again}")
    }

    fn heard(&self, capture: &Path) -> Result<String> {
        heard(capture)
    }

    fn so_far(&self, kept: &[PathBuf]) -> Vec<String> {
        let repeats: Vec<_> = signals(kept).iter().map(|s| s.repeat()).collect();
        match scale::field_per_count(self.source, &repeats, self.axis) {
            Ok(budget) => {
                let reading = budget.reading().scaled(1e9);
                vec![format!("so far {} per count", units::plus_minus(reading, "nA/m"))]
            }
            Err(NoScale::TooFew { .. }) => Vec::new(),
            Err(why) => vec![format!("so far: {why}")],
        }
    }
}

fn remedy(error: &NoScale) -> &'static str {
    match error {
        NoScale::TooFew { .. } => "record more repeats, the receiver placed anew for each",
        NoScale::NotRepeated { .. } => {
            "check distance, angle and current of each repeat, and leave none out without a reason"
        }
        NoScale::OtherCoil { .. } => "lay the coil along the axis, or name the one that lies so",
        NoScale::Source(_) | NoScale::Uncertainty(_) => "correct the options of the source",
    }
}
