//! Steps of a series: where something was done, and where the visits show one.
//!
//! Where something was done a step is expected, and asked for on its own. Elsewhere steps
//! are added one by one where they lower the misfit most, as long as chance would
//! rarely do as well: binary segmentation (Scott and Knott, Biometrics 30 (1974) 507,
//! quoted from memory), with line, temperature and all earlier steps fitted anew each
//! time. How well chance does somewhere among all places is counted out: the same search
//! over noise of the same weights ([`DRAWS`] times; Dwass, Ann. Math. Stat. 28 (1957) 181,
//! stopped early after Besag and Clifford, Biometrika 78 (1991) 301, both quoted from
//! memory). The scale of the noise is not needed for that, so the rate of false alarms
//! holds whatever the visits scatter by.
//!
//! Accuracy: of series without a step, no more than [`FALSE_ALARMS`] get one; where
//! scatter between visits rules, just that share (test `false_alarms_at_their_rate`).

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::regression::Regression;
use crate::uncertainty::coverage;

/// Share of series without a step in which one is found.
pub const FALSE_ALARMS: f64 = 0.01;
/// Searches over noise that a step is held against.
const DRAWS: usize = 999;
/// Visits on each side of a step, at least: one alone is a bad visit.
const SIDE: usize = 2;
/// Most steps that are looked for.
const MOST: usize = 12;

/// A place where something was done.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// The first visit after it.
    pub(super) place: usize,
    /// Nothing before it is comparable: a step whatever the visits say.
    pub(super) anew: bool,
}

/// A step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Found {
    /// The first visit after it.
    pub(super) place: usize,
    /// Probability that chance shows one as large; `None` where that was not asked.
    pub(super) chance: Option<f64>,
}

/// Steps beside what `fit` has already. `floor` is the share of
/// its weights' variance that the stated uncertainties make: less is not believed.
pub(super) fn find(fit: &mut Regression, known: &[Known], floor: f64, count: usize) -> Vec<Found> {
    let mut found: Vec<Found> = Vec::new();
    for known in known.iter().filter(|k| k.anew) {
        if fit.add(column(known.place, count)) {
            found.push(Found { place: known.place, chance: None });
        }
    }
    let base = fit.clone();
    let tested: Vec<usize> = known.iter().filter(|k| !k.anew).map(|k| k.place).collect();
    let anew = found.clone();
    for (place, chance) in seen(&base, tested, floor, count) {
        if fit.add(column(place, count)) {
            found.push(Found { place, chance: Some(chance) });
        }
    }
    while found.len() < MOST {
        let free = |k: usize| {
            let apart = |f: &Found| f.place.abs_diff(k) >= SIDE;
            k >= SIDE && k + SIDE <= count && found.iter().all(apart)
        };
        let allowed: Vec<bool> = (0..count).map(free).collect();
        let Some((place, gain)) = best(fit, &allowed) else { break };
        let Some(chance) = chance_somewhere(fit, &allowed, gain, floor) else { break };
        if !fit.add(column(place, count)) {
            break;
        }
        found.push(Found { place, chance: Some(chance) });
    }
    // One that stood in for another may be none now that the other is known.
    let places: Vec<usize> = found[anew.len()..].iter().map(|f| f.place).collect();
    let kept = seen(&base, places, floor, count);
    found.retain(|f| anew.contains(f) || kept.iter().any(|(place, _)| *place == f.place));
    found.sort_by_key(|f| f.place);
    found
}

/// A step before the visit of this number.
fn column(place: usize, count: usize) -> impl Iterator<Item = f64> {
    (0..count).map(move |i| f64::from(u8::from(i >= place)))
}

/// Which of the places where something was done show a step, with the probability of chance.
/// All together first, then without the least one, until none is left that chance would
/// make: alone, one of several steps in turn may look like none. Of too many for the
/// visits the latest are looked at.
fn seen(fit: &Regression, mut places: Vec<usize>, floor: f64, count: usize) -> Vec<(usize, f64)> {
    places.sort_unstable();
    let most = fit.degrees_of_freedom().saturating_sub(2);
    places.drain(..places.len().saturating_sub(most));
    let each = FALSE_ALARMS / places.len().max(1) as f64;
    loop {
        let judged = places.iter().map(|place| {
            let mut others = fit.clone();
            for other in places.iter().filter(|p| *p != place) {
                others.add(column(*other, count));
            }
            let mut allowed = vec![false; count];
            allowed[*place] = true;
            let gain = best(&others, &allowed).map(|(_, gain)| gain);
            let chance = gain.and_then(|gain| chance_at_one_place(&others, gain, floor));
            (*place, chance.unwrap_or(1.0))
        });
        let judged: Vec<(usize, f64)> = judged.collect();
        match judged.iter().max_by(|a, b| a.1.total_cmp(&b.1)) {
            Some((least, chance)) if *chance > each => places.retain(|place| place != least),
            _ => return judged,
        }
    }
}

/// The allowed place that explains most, and how much.
fn best(fit: &Regression, allowed: &[bool]) -> Option<(usize, f64)> {
    let mut best = None;
    fit.steps(allowed, |k, gain| {
        if best.is_none_or(|(_, most)| gain > most) {
            best = Some((k, gain));
        }
    });
    best
}

/// Student's t squared of a step that lowers the misfit by `gain`.
fn t_squared(fit: &Regression, gain: f64, floor: f64) -> Option<(f64, f64)> {
    let freedom = fit.degrees_of_freedom().checked_sub(1).filter(|f| *f > 0)? as f64;
    let variance = ((fit.misfit() - gain).max(0.0) / freedom).max(floor);
    Some((gain / variance, freedom))
}

fn chance_at_one_place(fit: &Regression, gain: f64, floor: f64) -> Option<f64> {
    let (t_squared, freedom) = t_squared(fit, gain, floor)?;
    Some(2.0 * coverage::student_cdf(-t_squared.sqrt(), freedom))
}

/// Probability that noise explains as much at any of the places; `None` where that is
/// over [`FALSE_ALARMS`].
fn chance_somewhere(fit: &Regression, allowed: &[bool], gain: f64, floor: f64) -> Option<f64> {
    let alone = chance_at_one_place(fit, gain, floor)?;
    let bound = alone * allowed.iter().filter(|a| **a).count() as f64;
    if alone > FALSE_ALARMS {
        return None;
    }
    // Bonferroni's bound spares the counting where there is no doubt.
    if bound <= 0.01 * FALSE_ALARMS {
        return Some(bound);
    }
    let (t_squared, freedom) = t_squared(fit, gain, floor)?;
    let explained = t_squared / (t_squared + freedom);
    let mut rng = ChaCha8Rng::seed_from_u64(457);
    let mut noise = fit.clone();
    let most = (FALSE_ALARMS * (DRAWS + 1) as f64) as usize;
    let mut as_good = 0;
    for _ in 0..DRAWS {
        noise.renew((0..allowed.len()).map(|_| StandardNormal.sample(&mut rng)));
        let (_, by_chance) = best(&noise, allowed)?;
        as_good += usize::from(by_chance >= explained * noise.misfit());
        if as_good >= most {
            return None;
        }
    }
    Some((as_good + 1) as f64 / (DRAWS + 1) as f64)
}
