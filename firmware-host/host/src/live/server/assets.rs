//! The page's own files, built into the program.

use axum::extract::{Path, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

use super::Shared;
use super::guard::nothing_here;

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";
const TEXT: &str = "text/plain; charset=utf-8";

macro_rules! parts {
    ($($name:literal: $kind:expr),* $(,)?) => {
        /// Name, kind and content of each.
        const PARTS: &[(&str, &str, &str)] =
            &[$(($name, $kind, include_str!(concat!("../page/", $name)))),*];
    };
}

parts! {
    "live.css": CSS,
    "live.js": SCRIPT,
    "lesson.js": SCRIPT,
    "receiver.js": SCRIPT,
    "show.js": SCRIPT,
    "survey.js": SCRIPT,
    "timeline.js": SCRIPT,
    "units.js": SCRIPT,
    "vector.js": SCRIPT,
    "waterfall.js": SCRIPT,
    "icon.svg": SVG,
    "uPlot.iife.min.js": SCRIPT,
    "uPlot.min.css": CSS,
    "uPlot.LICENSE.txt": TEXT,
}

pub(super) async fn page() -> Response {
    ([(CONTENT_TYPE, HTML)], include_str!("../page/index.html")).into_response()
}

/// The picture of the survey that is under way.
pub(super) async fn picture(shared: State<Shared>) -> Response {
    let svg = shared.0.0.hub.picture();
    match svg.is_empty() {
        true => nothing_here().await,
        false => ([(CONTENT_TYPE, SVG)], svg).into_response(),
    }
}

pub(super) async fn part(Path(name): Path<String>) -> Response {
    match PARTS.iter().find(|(own, _, _)| *own == name) {
        Some((_, kind, content)) => ([(CONTENT_TYPE, *kind)], *content).into_response(),
        None => nothing_here().await,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a phone must load, without compression.
    const MOST_BYTES: usize = 300_000;

    #[test]
    fn all_parts_that_the_page_names_are_there_and_light() {
        let page = include_str!("../page/index.html");
        let content = |name: &str| PARTS.iter().find(|p| p.0 == name).map(|p| p.2);
        for named in page.split("\"/page/").skip(1) {
            let name = named.split('"').next().unwrap_or_default();
            assert!(content(name).is_some(), "{name}");
        }
        for (_, kind, text) in PARTS.iter().filter(|p| p.1 == SCRIPT) {
            for named in text.split("from \"./").skip(1) {
                let name = named.split('"').next().unwrap_or_default();
                assert!(content(name).is_some(), "{name} of a {kind}");
            }
        }
        let all = page.len() + PARTS.iter().map(|(_, _, text)| text.len()).sum::<usize>();
        assert!(all < MOST_BYTES, "{all}");
    }
}
