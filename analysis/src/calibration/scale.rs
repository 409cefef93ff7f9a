//! What a count means: the field of a known source over what the receiver gave,
//! from several repeats, with the budget.
//!
//! field per count = H · cos θ · a · b · s · r · w / c, H the field of the source at
//! the coil's centre, θ the angle between coil and axis, a what a coil askew sees
//! of the field across the axis, b how the field bends about the centre, s the size
//! of the coil, r the retardation, w the current along the wire, c the counts. Each
//! repeat is made with the receiver placed anew, so that its scatter has the
//! placing in it as far as that comes out differently each time.

use serde::{Deserialize, Serialize};

use super::source::{Arrangement, NoSource, Source};
use crate::reading::Reading;
use crate::uncertainty::{
    Budget, Contribution, Evaluation, Input, Inputs, UncertaintyError, propagate,
};

/// Fewer repeats say nothing of how well they repeat.
pub const LEAST_REPEATS: usize = 3;
/// Repeats that differ by more (standard deviation, relative) are not repeats.
const MOST_SCATTER: f64 = 0.2;
/// The coil under calibration must see so much more than each other: at 45°
/// both see the same.
const LEAST_OWN_SHARE: f64 = 0.9;

/// A signal of the source as one repeat gave it: counts on each channel, signs
/// relative to each other, and their standard uncertainties.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Repeat {
    /// Amplitude on each channel.
    pub counts: [f64; 3],
    /// Standard uncertainty of each from noise.
    pub u_counts: [f64; 3],
}

/// Why repeats give no scale.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoScale {
    /// The source makes no sense.
    #[error(transparent)]
    Source(#[from] NoSource),
    /// Too few repeats.
    #[error("{have} repeats are too few: at least {LEAST_REPEATS} are needed, each placed anew")]
    TooFew {
        /// What there is.
        have: usize,
    },
    /// Repeats that do not repeat.
    #[error("the repeats differ by {percent:.0} %: they are not of one place and current")]
    NotRepeated {
        /// Standard deviation, percent.
        percent: f64,
    },
    /// Another coil lies along the axis.
    #[error(
        "repeat {repeat}: coil {own} sees only {percent:.0} % of the field, coil {other} more: \
         another coil lies along the axis"
    )]
    OtherCoil {
        /// From 1.
        repeat: usize,
        /// The coil that is calibrated.
        own: &'static str,
        /// The one that sees most of the others.
        other: &'static str,
        /// Share of the magnitude.
        percent: f64,
    },
    /// The sums give no finite number.
    #[error(transparent)]
    Uncertainty(#[from] UncertaintyError),
}

/// The names of the axes.
pub const AXES: [&str; 3] = ["x", "y", "z"];

/// Field per count, A/m, of the coil `axis` (0 to 2) from `repeats` in the field of
/// `source`, with its budget.
///
/// # Errors
///
/// A source or repeats that allow none.
pub fn field_per_count(
    source: &Source,
    repeats: &[Repeat],
    axis: usize,
) -> Result<Budget, NoScale> {
    source.check()?;
    if repeats.len() < LEAST_REPEATS {
        return Err(NoScale::TooFew { have: repeats.len() });
    }
    for (number, repeat) in (1..).zip(repeats) {
        check_coil(number, repeat, axis)?;
    }
    let counts = counts(repeats, axis)?;
    if counts.u * (repeats.len() as f64).sqrt() > MOST_SCATTER * counts.value {
        let percent = 100.0 * counts.u * (repeats.len() as f64).sqrt() / counts.value;
        return Err(NoScale::NotRepeated { percent });
    }
    let mut inputs = Inputs::new();
    let seen = inputs.add(counts);
    let parts = Parts::of(source, &mut inputs)?;
    Ok(propagate(&inputs, |x| parts.field(source, x) / x[seen])?)
}

/// Mean counts of the coil, its uncertainty by the scatter of the repeats, and no
/// less than the noise of each explains.
fn counts(repeats: &[Repeat], axis: usize) -> Result<Input, UncertaintyError> {
    let counts: Vec<f64> = repeats.iter().map(|r| r.counts[axis].abs()).collect();
    let mut input = Input::repeated("repeats", "counts", &counts)?;
    let noise2: f64 = repeats.iter().map(|r| r.u_counts[axis].powi(2)).sum();
    input.u = input.u.max(noise2.sqrt() / repeats.len() as f64);
    Ok(input)
}

fn check_coil(number: usize, repeat: &Repeat, axis: usize) -> Result<(), NoScale> {
    let all = repeat.counts.iter().map(|c| c * c).sum::<f64>().sqrt();
    let own = repeat.counts[axis].abs();
    let aside = |i: &usize| repeat.counts[*i].abs();
    let others = (0..3).filter(|i| *i != axis);
    let other = others.max_by(|a, b| aside(a).total_cmp(&aside(b))).unwrap_or(axis);
    if own >= LEAST_OWN_SHARE * all {
        return Ok(());
    }
    let (own_name, percent) = (AXES[axis], 100.0 * own / all);
    Err(NoScale::OtherCoil { repeat: number, own: own_name, other: AXES[other], percent })
}

/// Where each part of the source stands among the inputs.
struct Parts {
    current: usize,
    radius: usize,
    distance: usize,
    offset: Option<usize>,
    spacing: Option<usize>,
    factors: Vec<usize>,
}

impl Parts {
    fn of(source: &Source, inputs: &mut Inputs) -> Result<Self, UncertaintyError> {
        let mut normal = |name: &str, unit, r: Reading| -> Result<usize, UncertaintyError> {
            Ok(inputs.add(Input::normal(name, unit, r.value, r.u)?))
        };
        let current = normal("current", "A", source.current_a)?;
        let radius = normal("radius of the loop", "m", source.radius_m)?;
        let distance = normal("distance", "m", source.distance_m)?;
        let is_pair = source.arrangement == Arrangement::Pair;
        let spacing = is_pair.then(|| normal("spacing", "m", source.spacing_m)).transpose()?;
        // On the axis the field has no slope across it.
        let off_axis = source.offset_m.value > 0.0;
        let aside = || normal("distance from the axis", "m", source.offset_m);
        let offset = off_axis.then(aside).transpose()?;
        let (cosine, bend) = (source.cosine(), source.bend());
        let bounded = |name: &str, effect| Input::rectangular(name, "", 1.0, effect);
        let across = Input::normal(ACROSS, "", 1.0, source.across_effect())?;
        let factors = [
            Some(Input::one_sided(ANGLE, "", cosine.value, cosine.u)?),
            off_axis.then_some(across),
            Some(Input::one_sided("place in the bent field", "", bend.value, bend.u)?),
            Some(bounded("size of the coil", source.size_effect())?),
            Some(bounded("retardation", source.retardation())?),
            Some(bounded("current along the wire", source.wire_effect())?),
        ];
        let factors = factors.into_iter().flatten().map(|input| inputs.add(input)).collect();
        Ok(Self { current, radius, distance, offset, spacing, factors })
    }

    /// Field of the source for the inputs `x`.
    fn field(&self, source: &Source, x: &[f64]) -> f64 {
        let with = |reading: Reading, at: Option<usize>| Reading {
            value: at.map_or(reading.value, |i| x[i]),
            ..reading
        };
        let at = Source {
            current_a: with(source.current_a, Some(self.current)),
            radius_m: with(source.radius_m, Some(self.radius)),
            distance_m: with(source.distance_m, Some(self.distance)),
            offset_m: with(source.offset_m, self.offset),
            spacing_m: with(source.spacing_m, self.spacing),
            ..*source
        };
        // Across the axis the component's sign may turn; a factor has none.
        at.field_a_per_m().abs() * self.factors.iter().map(|i| x[*i]).product::<f64>()
    }
}

/// Relative standard uncertainty that comes from the source, and is the same for
/// each coil calibrated in it: all of Type B but the angle, which each coil has of
/// its own.
pub fn of_source_rel(budget: &Budget) -> f64 {
    let of_coil = |c: &Contribution| c.name == ANGLE || c.name == ACROSS;
    let is_shared = |c: &&Contribution| c.evaluation == Evaluation::B && !of_coil(c);
    let shared = budget.contributions.iter().filter(is_shared);
    shared.map(|c| c.u_contribution.powi(2)).sum::<f64>().sqrt() / budget.value
}

/// Names of the contributions of the coil's angle.
const ANGLE: &str = "angle of the coil";
const ACROSS: &str = "field across the axis";

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::super::source::tests::{a_loop, a_pair};
    use super::*;

    fn repeats(counts: &[f64]) -> Vec<Repeat> {
        counts.iter().map(|&c| Repeat { counts: [3.0, -c, 5.0], u_counts: [0.1; 3] }).collect()
    }

    /// By hand: Type A s/√5; current 0.5 %; radius: H ∝ a² (x² + a²)^−3/2 has the
    /// slope (2 − 3a²/(a² + x²)) da/a; distance −3x²/(a² + x²) dx/x.
    #[test]
    fn the_budget_is_that_of_the_formula() {
        let five = repeats(&[1000.0, 1004.0, 996.0, 1002.0, 998.0]);
        let budget = field_per_count(&a_loop(), &five, 1).unwrap();
        let share = 0.0225 / 1.0225;
        let by_hand = [
            10f64.sqrt() / 1000.0 / 5f64.sqrt(),
            0.005,
            (2.0 - 3.0 * share) * 0.0005 / 0.15,
            3.0 * (1.0 - share) * 0.002,
        ];
        for (contribution, due) in budget.contributions.iter().zip(by_hand) {
            let found = contribution.u_contribution / budget.value;
            assert!((found / due - 1.0).abs() < 1e-6, "{contribution:?}, by hand {due}");
        }
        let value = a_loop().field_a_per_m() * (1.0 - 2f64.to_radians().powi(2)) / 1000.0;
        assert!((budget.value / value - 1.0).abs() < 1e-4);
        assert!(budget.degrees_of_freedom > 100.0, "the type A part is small");
        // All but the repeats and the angle, by hand.
        let left = (budget.u / budget.value).powi(2) - by_hand[0].powi(2) - 1.2185e-3f64.powi(2);
        assert!((of_source_rel(&budget) / left.sqrt() - 1.0).abs() < 1e-3);
    }

    /// Truth is drawn from the stated uncertainties, 2000 times: the error over u
    /// has a standard deviation of one, and the 95 % interval covers 95 %.
    #[test]
    fn the_stated_uncertainty_covers_what_was_not_known() {
        let (mut squares, mut inside, seeds) = (0.0, 0, 2000);
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        for number in 0..seeds {
            let beside = Source { offset_m: Reading::new(0.4, 0.002), ..a_loop() };
            let stated = [a_loop(), a_pair(), beside][number as usize % 3];
            let mut draw = |r: Reading| Reading { value: r.value + r.u * normal(), ..r };
            let truth = Source {
                radius_m: draw(stated.radius_m),
                current_a: draw(stated.current_a),
                spacing_m: draw(stated.spacing_m),
                distance_m: draw(stated.distance_m),
                ..stated
            };
            let sideways_m = Reading::new(0.0, stated.offset_m.u);
            let aside_m = draw(stated.offset_m).value.hypot(draw(sideways_m).value);
            let truth = Source { offset_m: Reading::new(aside_m, 0.0), ..truth };
            let mut angle = || (stated.u_angle_deg * normal()).to_radians();
            // Towards the axis or away from it, and sideways.
            let (tilt, turn) = (angle(), angle());
            let (across, along) = truth.across_and_along(aside_m, truth.distance_m.value);
            let seen = (along * tilt.cos() + across * tilt.sin()) * turn.cos();
            let counts: Vec<f64> = (0..4).map(|_| seen / 1e-9 * (1.0 + 0.01 * normal())).collect();
            let budget = field_per_count(&stated, &repeats(&counts), 1).unwrap();
            squares += ((budget.value - 1e-9) / budget.u).powi(2) / f64::from(seeds);
            inside += i32::from((budget.value - 1e-9).abs() < budget.expanded(0.95).u);
        }
        let rms = squares.sqrt();
        assert!((0.9..1.1).contains(&rms), "{rms}");
        let share = f64::from(inside) / f64::from(seeds);
        assert!((0.93..0.97).contains(&share), "{share}");
    }

    #[test]
    fn what_are_no_repeats_is_refused() {
        let refused = |counts: &[f64], axis| {
            field_per_count(&a_loop(), &repeats(counts), axis).unwrap_err().to_string()
        };
        assert!(refused(&[1000.0, 1001.0], 1).contains("too few"));
        assert!(refused(&[1000.0, 1500.0, 1000.0], 1).contains("differ"));
        let other = refused(&[1000.0, 1001.0, 1000.0], 0);
        assert!(other.contains("coil x sees only 0 %") && other.contains("coil y"), "{other}");
    }

    #[test]
    fn noise_is_the_least_uncertainty_however_well_repeats_agree() {
        let same = repeats(&[1000.0; 4]);
        let budget = field_per_count(&a_loop(), &same, 1).unwrap();
        assert!((budget.contributions[0].u - 0.05).abs() < 1e-12);
    }
}
