//! A unit with its captures, judged.

use std::path::Path;

use coilrig_analysis::conformity::{Decision, Rule};
use coilrig_analysis::limits::{LimitSet, Quantity, published};
use coilrig_analysis::verification::behaviour::leaves_band;
use coilrig_analysis::verification::temperature::{
    AtTemperature, OverTemperature, over_temperature,
};
use coilrig_analysis::verification::{Heard, Setup, Verification, verify};

use super::examined::Examined;
use super::identity::Identity;
use crate::capture::reader::{Capture, shown};
use crate::error::Error;

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
    /// All captures of it could be judged.
    pub is_whole: bool,
}

/// A capture of a batch that nothing could be judged by.
#[derive(Debug)]
pub struct Unjudged {
    /// The unit that it is of, or the capture where it does not say.
    pub name: String,
    /// Why.
    pub error: Error,
}

impl Unjudged {
    /// The capture at `path`.
    pub fn new(path: &Path, error: Error) -> Self {
        Self { name: Self::unit_of(path).unwrap_or_else(|| shown(path)), error }
    }

    /// The unit that the capture at `path` says it is of.
    pub fn unit_of(path: &Path) -> Option<String> {
        Capture::open(path).ok().and_then(|capture| capture.meta.global.unit)
    }
}

impl UnitVerified {
    /// Judge the unit that all `captures` are of.
    pub fn new(identity: Identity, mut captures: Vec<Examined>, terms: &Terms) -> Self {
        if let Some(band) = terms.set.bound(Quantity::Carrier) {
            for capture in &mut captures {
                let note = leaves_band(&capture.heard(), band);
                capture.behaviour.notes.extend(note);
            }
        }
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
        Self { identity, captures, verification, newer, over_temperature, is_whole: true }
    }

    /// The same where further captures of it could not be judged.
    pub fn in_part(mut self) -> Self {
        self.is_whole = false;
        self.verification.verdict = self.verification.verdict.in_part();
        if let Some((_, found)) = &mut self.newer {
            found.verdict = found.verdict.in_part();
        }
        self
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
