//! Field lines of a computed unit, for the class.

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use coilrig_analysis::lesson::{Lesson, Lie, Surveyed, lesson};
use serde::{Deserialize, Serialize};
use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;

use super::Shared;
use super::guard::refused;

/// What the class sees before anybody moves a slider.
const BEGIN: Lie = Lie { depth_m: 1.5, tilt_deg: 30.0 };
/// What can be asked for.
const DEPTHS_CM: std::ops::RangeInclusive<u32> = 30..=400;
const MOST_TILT_DEG: u32 = 90;

/// Readings to show, how the unit in them was found to lie, and room for one computation:
/// a class that plays with sliders must not take the analysis its core.
pub struct Class {
    surveyed: Option<(Surveyed, Lie)>,
    room: Semaphore,
}

impl Class {
    /// A class that sees these readings.
    pub fn new(surveyed: Option<(Surveyed, Lie)>) -> Self {
        Self { surveyed, room: Semaphore::new(1) }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Asked {
    depth_cm: Option<u32>,
    tilt_deg: Option<u32>,
}

#[derive(Serialize)]
struct Told {
    depth_cm: u32,
    tilt_deg: u32,
    /// What is not as it was found.
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
    #[serde(flatten)]
    lesson: Lesson,
}

pub(super) async fn lines(shared: State<Shared>, asked: Query<Asked>) -> Response {
    let class = &shared.0.0.class;
    let begin = class.surveyed.as_ref().map_or(BEGIN, |(_, lie)| *lie);
    let (depth_cm, note) = asked.depth_cm.map_or_else(|| shown(begin.depth_m), |cm| (cm, None));
    let tilt_deg = asked.tilt_deg.unwrap_or(begin.tilt_deg.round() as u32);
    if !DEPTHS_CM.contains(&depth_cm) || tilt_deg > MOST_TILT_DEG {
        let why = format!(
            "a depth of {} to {} cm and a tilt of 0 to {MOST_TILT_DEG} degrees can be shown",
            DEPTHS_CM.start(),
            DEPTHS_CM.end()
        );
        return refused(StatusCode::BAD_REQUEST, &why);
    }
    let Ok(_place) = class.room.acquire().await else {
        return refused(StatusCode::SERVICE_UNAVAILABLE, "the page is ending");
    };
    let lie = Lie { depth_m: f64::from(depth_cm) / 100.0, tilt_deg: tilt_deg.into() };
    let parts = shared.0.clone();
    let computed = spawn_blocking(move || {
        let surveyed = parts.0.class.surveyed.as_ref().map(|(surveyed, _)| surveyed);
        serde_json::to_string(&Told { depth_cm, tilt_deg, note, lesson: lesson(lie, surveyed) })
    });
    match computed.await {
        Ok(Ok(json)) => ([(CONTENT_TYPE, "application/json")], json).into_response(),
        _ => refused(StatusCode::INTERNAL_SERVER_ERROR, "the lines could not be computed"),
    }
}

/// The nearest depth that can be shown, cm, and what there is to say of it.
fn shown(depth_m: f64) -> (u32, Option<String>) {
    let found_cm = (100.0 * depth_m).round();
    let depth_cm = found_cm.clamp((*DEPTHS_CM.start()).into(), (*DEPTHS_CM.end()).into());
    let note = (depth_cm != found_cm).then(|| {
        let (found_m, shown_m) = (format!("{depth_m:.2}").replace('-', "−"), depth_cm / 100.0);
        format!("found {found_m} m below the receiver, shown at {shown_m} m")
    });
    (depth_cm as u32, note)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_outside_the_range_is_shown_at_its_edge_and_said_so() {
        assert_eq!(shown(1.234), (123, None));
        assert_eq!(shown(4.0), (400, None));
        for (depth_m, cm, what) in [
            (5.2, 400, "found 5.20 m below the receiver, shown at 4 m"),
            (-0.1, 30, "found −0.10 m"),
        ] {
            let (depth_cm, note) = shown(depth_m);
            assert_eq!(depth_cm, cm);
            assert!(note.as_ref().is_some_and(|note| note.starts_with(what)), "{note:?}");
        }
    }
}
