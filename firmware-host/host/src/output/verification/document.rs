//! `coilrig-verification/1`, the JSON document of a unit.

use coilrig_analysis::conformity::{Acceptance, Decision, Rule};
use coilrig_analysis::limits::LimitSet;
use coilrig_analysis::uncertainty::Contribution;
use coilrig_analysis::verification::behaviour::Behaviour;
use coilrig_analysis::verification::temperature::OverTemperature;
use coilrig_analysis::verification::{
    JudgedQuantity, Placement, Setup, UNTIL_DECIDED, Verification,
};
use serde::Serialize;

use super::{cautions, words};
use crate::error::{Error, Result};
use crate::verifying::{Examined, Identity, Terms, UnitVerified};

/// The document of a unit.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    unit: String,
    identity: &'a Identity,
    captures: Vec<CaptureSummary<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    setup: Option<SetupSummary>,
    rule: RuleSummary,
    #[serde(flatten)]
    by_limits: ByLimits<'a>,
    /// The newer set, shown beside.
    #[serde(skip_serializing_if = "Option::is_none")]
    newer: Option<ByLimits<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    over_temperature: Option<&'a OverTemperature>,
    #[serde(skip_serializing_if = "Option::is_none")]
    until_decided: Option<&'static str>,
    notes: Vec<String>,
    cautions: Vec<&'static str>,
}

#[derive(Serialize)]
struct CaptureSummary<'a> {
    path: String,
    transmitter: &'a str,
    duration_s: f64,
    pulses: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    started: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    behaviour: &'a Behaviour,
}

#[derive(Serialize)]
struct SetupSummary {
    alignment: &'static str,
    distance_m: f64,
    u_distance_m: f64,
    u_tilt_rad: f64,
    u_surroundings_rel: f64,
}

#[derive(Serialize)]
struct RuleSummary {
    risk: f64,
    text: String,
}

/// What one set makes of the unit.
#[derive(Serialize)]
struct ByLimits<'a> {
    limits: &'a LimitSet,
    decision: Decision,
    probability_of_conformity_at_least: f64,
    quantities: Vec<QuantityRow<'a>>,
}

#[derive(Serialize)]
struct QuantityRow<'a> {
    quantity: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    distance_m: Option<f64>,
    unit: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    limit: Option<LimitRow<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    not_judged: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    capture: Option<String>,
    #[serde(flatten)]
    measured: Option<MeasuredRow<'a>>,
}

#[derive(Serialize)]
struct LimitRow<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    lower: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    upper: Option<f64>,
    source: &'a str,
    from_memory: bool,
}

#[derive(Serialize)]
struct MeasuredRow<'a> {
    value: f64,
    u: f64,
    /// Infinite as null.
    degrees_of_freedom: f64,
    k: f64,
    expanded_u: f64,
    coverage_probability: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    decision: Option<Decision>,
    #[serde(skip_serializing_if = "Option::is_none")]
    probability_of_conformity: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    acceptance: Option<Acceptance>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    budget: Option<&'a [Contribution]>,
}

/// The document of a single unit, or an array of documents for a batch.
pub fn json(units: &[UnitVerified], terms: &Terms, batch: bool, budget: bool) -> Result<String> {
    let documents: Vec<Document<'_>> =
        units.iter().map(|unit| Document::of(unit, terms, budget)).collect();
    let text = match documents.as_slice() {
        [one] if !batch => serde_json::to_string_pretty(one),
        all => serde_json::to_string_pretty(all),
    };
    text.map(|t| t + "\n")
        .map_err(|e| Error::file("results", format!("cannot be put as JSON: {e}"), "report this"))
}

impl<'a> Document<'a> {
    fn of(unit: &'a UnitVerified, terms: &'a Terms, budget: bool) -> Self {
        let by = |set: &'a LimitSet, found: &'a Verification| ByLimits {
            limits: set,
            decision: found.verdict.decision,
            probability_of_conformity_at_least: found.verdict.probability_of_conformity_at_least,
            quantities: found.quantities.iter().map(|q| QuantityRow::of(q, unit, budget)).collect(),
        };
        let undecided = unit.decision() == Decision::Undecided;
        Self {
            format: "coilrig-verification/1",
            unit: unit.name(),
            identity: &unit.identity,
            captures: unit.captures.iter().map(CaptureSummary::of).collect(),
            setup: terms.setup.as_ref().map(SetupSummary::of),
            rule: RuleSummary::of(terms.rule),
            by_limits: by(&terms.set, &unit.verification),
            newer: unit.newer.as_ref().map(|(set, found)| by(set, found)),
            over_temperature: unit.over_temperature.as_ref(),
            until_decided: undecided.then_some(UNTIL_DECIDED),
            notes: unit.notes(),
            cautions: cautions(),
        }
    }
}

impl<'a> CaptureSummary<'a> {
    fn of(examined: &'a Examined) -> Self {
        let transmitter = examined.transmitter();
        Self {
            path: examined.name(),
            transmitter: &transmitter.label,
            duration_s: examined.measured.measurement.duration_s,
            pulses: transmitter.pulses.found,
            started: examined.measured.capture.started().map(|t| t.to_string()),
            temperature_c: examined.temperature_c(),
            behaviour: &examined.behaviour,
        }
    }
}

impl SetupSummary {
    fn of(setup: &Setup) -> Self {
        let Setup { distance_m, u_distance_m, placement, u_tilt_rad, u_surroundings_rel } = *setup;
        let alignment = match placement {
            Placement::Coaxial => "coaxial",
            Placement::Coplanar => "coplanar",
            Placement::ThreeDirections => "unknown",
        };
        Self { alignment, distance_m, u_distance_m, u_tilt_rad, u_surroundings_rel }
    }
}

impl RuleSummary {
    fn of(rule: Rule) -> Self {
        Self { risk: rule.risk(), text: words::rule(rule) }
    }
}

impl<'a> QuantityRow<'a> {
    fn of(judged: &'a JudgedQuantity, unit: &UnitVerified, budget: bool) -> Self {
        let found = judged.finding.as_ref().ok();
        let name = |i: usize| unit.captures.get(i).map(Examined::name);
        let distance_m = match judged.quantity {
            coilrig_analysis::limits::Quantity::Field { distance_m } => Some(distance_m),
            _ => None,
        };
        Self {
            quantity: judged.quantity.name(),
            distance_m,
            unit: words::si_unit(judged.quantity),
            limit: judged.bound.as_ref().map(|bound| LimitRow {
                lower: bound.lower,
                upper: bound.upper,
                source: &bound.source,
                from_memory: bound.from_memory,
            }),
            not_judged: judged.finding.as_ref().err().map(|why| why.0.as_str()),
            capture: found.and_then(|f| name(f.capture?)),
            measured: found.map(|found| {
                let expanded = found.budget.expanded(words::COVERAGE);
                MeasuredRow {
                    value: found.budget.value,
                    u: found.budget.u,
                    degrees_of_freedom: found.budget.degrees_of_freedom,
                    k: expanded.k,
                    expanded_u: expanded.u,
                    coverage_probability: expanded.probability,
                    decision: found.assessment.map(|a| a.decision),
                    probability_of_conformity: found
                        .assessment
                        .map(|a| a.probability_of_conformity),
                    acceptance: found.acceptance,
                    advice: found.advice.as_deref(),
                    budget: budget.then_some(&found.budget.contributions),
                }
            }),
        }
    }
}
