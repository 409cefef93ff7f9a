//! The JSON document of a plan.

use coilrig_analysis::plan::{
    Above, FirstHeard, FirstHeardSummary, Masking, Maximum, ON_THE_SNOW_M, Reception, Replaced,
    SLOW_SEARCH_M, Space, UnitShares, Way,
};
use serde::Serialize;

use super::Planned;
use crate::error::{Error, Result};

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    station: &'a str,
    /// What of the station file is worth a second look.
    doubts: Vec<Doubt<'a>>,
    /// Values that are measured; all others are planned.
    measured: &'a [Replaced],
    masking: &'a Masking,
    field: Field<'a>,
    walk: Walk<'a>,
    maxima: Maxima<'a>,
}

#[derive(Serialize)]
struct Doubt<'a> {
    line: usize,
    what: &'a str,
}

#[derive(Serialize)]
struct Field<'a> {
    receiver_height_m: f64,
    space: Space,
    x_m: [f64; 2],
    y_m: [f64; 2],
    /// Whether the station states its edges.
    edges_stated: bool,
    points: [usize; 2],
    silent_share: f64,
    units: Vec<OnField<'a>>,
}

#[derive(Serialize)]
struct OnField<'a> {
    name: &'a str,
    heard_share: f64,
    strongest_share: f64,
}

#[derive(Serialize)]
struct Walk<'a> {
    lane_width_m: f64,
    way: Way,
    lanes: usize,
    length_m: f64,
    slow_search_m: f64,
    units: Vec<OnWalk<'a>>,
}

#[derive(Serialize)]
struct OnWalk<'a> {
    name: &'a str,
    /// `null` for a unit that is never heard.
    first_heard: Option<FirstHeardSummary>,
}

#[derive(Serialize)]
struct Maxima<'a> {
    receiver_height_m: f64,
    units: Vec<AboveUnit<'a>>,
}

#[derive(Serialize)]
struct AboveUnit<'a> {
    name: &'a str,
    /// Place of the map square above the unit.
    x_m: f64,
    y_m: f64,
    receptions: Vec<OfReception>,
}

#[derive(Serialize)]
struct OfReception {
    reception: Reception,
    maxima: Vec<Strongest>,
}

#[derive(Serialize)]
struct Strongest {
    x_m: f64,
    y_m: f64,
    field_a_per_m: f64,
    offset_m: f64,
    share_of_depth: f64,
}

/// One JSON document.
pub fn json(planned: &Planned<'_>) -> Result<String> {
    let Planned { station, replaced, plan } = planned;
    let names = || station.units.iter().map(|unit| unit.name.as_str());
    let doubts = station.doubts.iter().map(|d| Doubt { line: d.line, what: &d.what });
    let on_field = |(name, shares): (_, &UnitShares)| OnField {
        name,
        heard_share: shares.heard,
        strongest_share: shares.strongest,
    };
    let on_walk = |(name, heard): (_, &Option<FirstHeard>)| OnWalk {
        name,
        first_heard: heard.as_ref().map(|heard| heard.summary(&plan.field)),
    };
    let document = Document {
        format: "coilrig-plan/1",
        station: &station.name,
        doubts: doubts.collect(),
        measured: replaced,
        masking: &plan.masking,
        field: Field {
            receiver_height_m: plan.options.height_m,
            space: plan.options.space,
            x_m: plan.bounds.x_m,
            y_m: plan.bounds.y_m,
            edges_stated: station.bounds.is_some(),
            points: [plan.map.x_m.len(), plan.map.y_m.len()],
            silent_share: plan.shares.silent,
            units: names().zip(&plan.shares.units).map(on_field).collect(),
        },
        walk: Walk {
            lane_width_m: plan.options.lane_width_m,
            way: plan.options.way,
            lanes: plan.walk.lanes.legs.len(),
            length_m: plan.walk.length_m,
            slow_search_m: SLOW_SEARCH_M,
            units: names().zip(&plan.walk.units).map(on_walk).collect(),
        },
        maxima: Maxima {
            receiver_height_m: ON_THE_SNOW_M,
            units: names().zip(&plan.above).map(|(name, a)| above(planned, name, a)).collect(),
        },
    };
    let text = serde_json::to_string_pretty(&document).map_err(|e| {
        Error::file("results", format!("cannot be put as JSON: {e}"), "report this")
    })?;
    Ok(text + "\n")
}

fn above<'a>(planned: &Planned<'_>, name: &'a str, above: &Above) -> AboveUnit<'a> {
    let [x_m, y_m] = above.middle_m;
    let maximum = |m: &Maximum| {
        let [x_m, y_m] = planned.plan.on_the_snow.on_map(m.at);
        Strongest {
            x_m,
            y_m,
            field_a_per_m: m.field_a_per_m,
            offset_m: m.offset_m,
            share_of_depth: m.share_of_depth,
        }
    };
    let receptions = above.maxima.iter().map(|of| OfReception {
        reception: of.reception,
        maxima: of.all.iter().map(maximum).collect(),
    });
    AboveUnit { name, x_m, y_m, receptions: receptions.collect() }
}
