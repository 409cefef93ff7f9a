//! A unit with its captures, judged.

use coilrig_analysis::conformity::{Decision, Rule};
use coilrig_analysis::limits::{LimitSet, Quantity, published};
use coilrig_analysis::verification::temperature::{
    AtTemperature, OverTemperature, over_temperature,
};
use coilrig_analysis::verification::{Heard, Setup, Verification, verify};

use super::examined::Examined;
use super::identity::Identity;

/// By what units are judged.
#[derive(Clone, Debug)]
pub struct Terms {
    /// The limits.
    pub set: LimitSet,
    /// The rule of decision.
    pub rule: Rule,
    /// How the units stood, where that is known.
    pub setup: Option<Setup>,
}

/// A unit, judged.
#[derive(Debug)]
pub struct UnitVerified {
    /// What the user says it is.
    pub identity: Identity,
    /// Its captures.
    pub captures: Vec<Examined>,
    /// By the limits asked for.
    pub verification: Verification,
    /// By the newer set, where an earlier one was asked for.
    pub newer: Option<(LimitSet, Verification)>,
    /// Over temperature, where the captures differ in it.
    pub over_temperature: Option<OverTemperature>,
}

impl UnitVerified {
    /// Judge the unit that all `captures` are of.
    pub fn new(identity: Identity, captures: Vec<Examined>, terms: &Terms) -> Self {
        let heard: Vec<Heard<'_>> = captures.iter().map(Examined::heard).collect();
        let by = |set: &LimitSet| verify(&heard, terms.setup.as_ref(), set, terms.rule);
        let verification = by(&terms.set);
        let newer = published::newer_than(&terms.set).map(|set| {
            let found = by(&set);
            (set, found)
        });
        let points: Vec<AtTemperature> = captures
            .iter()
            .filter_map(|c| Some(AtTemperature::of(&c.heard(), c.temperature_c()?)))
            .collect();
        let over_temperature = over_temperature(&points, terms.set.bound(Quantity::Carrier));
        Self { identity, captures, verification, newer, over_temperature }
    }

    /// What the unit is called: as typed, as the capture has it, or as its file.
    pub fn name(&self) -> String {
        let in_capture = || self.captures.first()?.measured.capture.meta.global.unit.clone();
        let file = || self.captures.first().map(Examined::name);
        self.identity.unit.clone().or_else(in_capture).or_else(file).unwrap_or_default()
    }

    /// The decision.
    pub fn decision(&self) -> Decision {
        self.verification.verdict.decision
    }

    /// Notes on the unit's behaviour in each capture, each said once.
    pub fn notes(&self) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for capture in &self.captures {
            for note in &capture.behaviour.notes {
                let text = match self.captures.len() {
                    1 => note.clone(),
                    _ => format!("{}: {note}", capture.name()),
                };
                if !all.contains(&text) {
                    all.push(text);
                }
            }
        }
        all
    }
}
