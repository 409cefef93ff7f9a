//! A plan as tables and as JSON.

use coilrig_analysis::plan::{Between, Masking};
use coilrig_analysis::station::Station;
use coilrig_analysis::units;
use serde::Serialize;

use super::columns::align;
use crate::error::{Error, Result};

/// The JSON document.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    station: &'a str,
    masking: &'a Masking,
}

/// One JSON document.
pub fn json(station: &Station, masking: &Masking) -> Result<String> {
    let document = Document { format: "coilrig-plan/1", station: &station.name, masking };
    let text = serde_json::to_string_pretty(&document).map_err(|e| {
        Error::file("results", format!("cannot be put as JSON: {e}"), "report this")
    })?;
    Ok(text + "\n")
}

/// The plan as a text.
pub fn for_people(station: &Station, masking: &Masking) -> String {
    let mut text = format!(
        "{}: {} units; the time in which two or more send at once is {}\n",
        station.name,
        masking.units.len(),
        percent(masking.share_of_time)
    );
    if !masking.pairs.is_empty() {
        text += "\n";
        text += &align(&pairs(masking));
        text += "\n";
        text += &align(&units_of(masking));
    }
    text += "\n";
    text += &match &masking.exchange {
        Some(e) => format!(
            "Exchange \"{}\" and \"{}\": the longest stretches of pairs heard together then \
             add up to {} in place of {}.\n",
            e.units[0],
            e.units[1],
            duration(e.after_s),
            duration(e.before_s)
        ),
        None => "No exchange of two units makes the longest stretches shorter.\n".to_owned(),
    };
    text += &format!(
        "\nHeard together: there is a place where both make {} or more, in free space and with\n\
         the best direction. Shares are means over all ways in which the units may have been\n\
         switched on, stretches the longest that any of them brings.\n",
        units::field(masking.threshold_a_per_m)
    );
    text
}

fn pairs(masking: &Masking) -> Vec<Vec<String>> {
    let header = ["pair", "heard", "both send", "pulses met", "at longest for", "again after"];
    let row = |pair: &Between| {
        let [a, b] = pair.share_of_pulses.map(percent);
        vec![
            format!("{} and {}", pair.units[0], pair.units[1]),
            if pair.heard_together { "together" } else { "apart" }.to_owned(),
            percent(pair.share_of_time),
            if a == b { a } else { format!("{a} and {b}") },
            pair.longest_s.map_or("always".to_owned(), duration),
            pair.again_after_s.map_or("–".to_owned(), duration),
        ]
    };
    let header = header.map(String::from).to_vec();
    std::iter::once(header).chain(masking.pairs.iter().map(row)).collect()
}

fn units_of(masking: &Masking) -> Vec<Vec<String>> {
    let header = vec!["unit".to_owned(), "of its pulses, met by any other's".to_owned()];
    let rows = masking.units.iter().map(|u| vec![u.name.clone(), percent(u.share_of_pulses)]);
    std::iter::once(header).chain(rows).collect()
}

fn percent(share: f64) -> String {
    format!("{} %", units::significant(100.0 * share, 2))
}

/// Seconds as people say them: "0.1 s", "99 s", "8 min 21 s", "1 h 40 min".
fn duration(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    match whole {
        0..10 => format!("{} s", units::significant(seconds, 2)),
        10..120 => format!("{whole} s"),
        120..7200 => format!("{} min {} s", whole / 60, whole % 60),
        _ => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_as_people_say_them() {
        for (seconds, said) in [
            (0.1, "0.1 s"),
            (9.4, "9.4 s"),
            (99.1, "99 s"),
            (501.0, "8 min 21 s"),
            (6012.0, "100 min 12 s"),
            (9000.0, "2 h 30 min"),
        ] {
            assert_eq!(duration(seconds), said);
        }
    }
}
