//! A plan for people.

use coilrig_analysis::plan::{Above, Between, FirstHeard, Masking, Maxima, Replaced};
use coilrig_analysis::units::{self, duration};

use super::Planned;
use crate::output::columns::align;

/// Pairs told at most, the worst of them.
const PAIRS: usize = 10;

/// The plan as a text.
pub fn for_people(planned: &Planned<'_>) -> String {
    let Planned { station, replaced, plan } = planned;
    let masking = &plan.masking;
    let mut text = format!(
        "{}: {}; the time in which two or more send at once is {}\n",
        station.name,
        if masking.units.len() == 1 {
            "1 unit".into()
        } else {
            format!("{} units", masking.units.len())
        },
        percent(masking.share_of_time)
    );
    text += &match replaced.is_empty() {
        true => "All values are planned, none is measured.\n".to_owned(),
        false => format!("Measured, in place of planned:\n{}", align(&measured(replaced))),
    };
    if !masking.pairs.is_empty() {
        text += "\n";
        text += &align(&pairs(masking));
        text += &left_out(masking);
    }
    text += "\n";
    text += &exchanges(planned);
    text += "\n";
    text += &align(&walk(planned));
    text += "\n";
    text += &align(&maxima(planned));
    text += &format!(
        "\nHeard: {} or more, receiver of three axes. Heard together: there is a place where both\n\
         are, in free space and with the best direction. Shares of pulses are means over all ways\n\
         in which the units may have been switched on, stretches the longest that any brings.\n\
         Along the field: as its direction leads, to 3 m (common practice), straight from there.\n\
         Where it ends off the unit the field falls again or tells no direction.\n\
         Strongest reading off: from the point square above the unit, and over the depth; receiver\n\
         on the snow, one axis level along the unit's own. Planned values have no uncertainty, so\n\
         neither has what follows from them.\n{}\n",
        units::field(masking.threshold_a_per_m),
        planned.computed()
    );
    text
}

fn measured(replaced: &[Replaced]) -> Vec<Vec<String>> {
    let header = ["unit", "quantity", "planned", "measured", "from"].map(String::from).to_vec();
    let row = |r: &Replaced| {
        let (factor, unit, name) = shown_in(r.quantity);
        vec![
            r.unit.clone(),
            name.to_owned(),
            format!("{} {unit}", units::significant(r.planned * factor, 6)),
            units::plus_minus(r.measured.scaled(factor), unit),
            r.source.clone(),
        ]
    };
    std::iter::once(header).chain(replaced.iter().map(row)).collect()
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
    std::iter::once(header).chain(masking.pairs.iter().take(PAIRS).map(row)).collect()
}

/// What the table of pairs does not show.
fn left_out(masking: &Masking) -> String {
    match masking.pairs.len().saturating_sub(PAIRS) {
        0 => String::new(),
        more => format!("and {more} further pairs that are apart or part sooner (--json, --out)\n"),
    }
}

fn exchanges(planned: &Planned<'_>) -> String {
    let masking = &planned.plan.masking;
    let add_up = |after_s: f64, before_s: f64| {
        format!(
            "the longest stretches of pairs heard together then\nadd up to {} in place of {}",
            duration(after_s),
            duration(before_s)
        )
    };
    let mut text = match &masking.exchange {
        Some(e) => {
            let [a, b] = &e.units;
            format!("Exchange \"{a}\" and \"{b}\": {}.\n", add_up(e.after_s, e.before_s))
        }
        None => "No exchange of two units makes the longest stretches shorter.\n".to_owned(),
    };
    if let Some(s) = &masking.spare {
        let sum = add_up(s.after_s, s.before_s);
        text += &format!("Put the spare \"{}\" in the place of \"{}\": {sum}.\n", s.spare, s.unit);
    } else if !planned.station.spares.is_empty() {
        text += "No spare in a unit's place makes them shorter.\n";
    }
    text
}

/// What each unit's signal does over the field and on the walk.
fn walk(planned: &Planned<'_>) -> Vec<Vec<String>> {
    let header = [
        "unit",
        "pulses met",
        "heard on",
        "strongest on",
        "first heard after",
        "lane",
        "straight to it",
        "along the field",
    ];
    let plan = planned.plan;
    let units = plan.masking.units.iter().zip(&plan.shares.units).zip(&plan.walk.units);
    let rows = units.map(|((unit, shares), heard)| {
        let mut row = vec![
            unit.name.clone(),
            percent(unit.share_of_pulses),
            percent(shares.heard),
            percent(shares.strongest),
        ];
        row.extend(first_heard(heard.as_ref()));
        row
    });
    std::iter::once(header.map(String::from).to_vec()).chain(rows).collect()
}

fn first_heard(heard: Option<&FirstHeard>) -> [String; 4] {
    let Some(heard) = heard else {
        return ["never".into(), "–".into(), "–".into(), "–".into()];
    };
    let along = match heard.way_m() {
        Some(way_m) => metres(way_m),
        None => format!("ends {} off", metres(heard.end_from_unit_m)),
    };
    [format!("{:.0} m", heard.after_m), heard.lane.to_string(), metres(heard.straight_m), along]
}

/// Where the strongest readings are.
fn maxima(planned: &Planned<'_>) -> Vec<Vec<String>> {
    let header = ["strongest reading off", "three axes", "one axis, level", "one axis, upright"];
    let units = planned.station.units.iter().zip(&planned.plan.above);
    let rows = units.map(|(unit, above): (_, &Above)| {
        let mut row = vec![unit.name.clone()];
        row.extend(above.maxima.iter().map(off));
        row
    });
    std::iter::once(header.map(String::from).to_vec()).chain(rows).collect()
}

/// "0.31 m (16 %)", with the number of further maxima where there are any.
fn off(maxima: &Maxima) -> String {
    let Some(first) = maxima.all.first() else { return "–".to_owned() };
    let share = percent(first.share_of_depth);
    let at = format!("{} m ({share})", units::to_hundredths(first.offset_m));
    match maxima.all.len() - 1 {
        0 => at,
        1 => format!("{at} and 1 more"),
        more => format!("{at} and {more} more"),
    }
}

fn metres(value: f64) -> String {
    format!("{value:.1} m")
}

fn percent(share: f64) -> String {
    format!("{} %", units::significant(100.0 * share, 2))
}

/// Factor from SI to the unit that people read a quantity in, that unit, and its name.
fn shown_in(quantity: &str) -> (f64, &'static str, &'static str) {
    match quantity {
        "period_s" => (1e3, "ms", "period"),
        "on_time_s" => (1e3, "ms", "on time"),
        "field_at_10_m_a_per_m" => (1e6, "µA/m", "field at 10 m"),
        "x_m" => (1.0, "m", "east"),
        "y_m" => (1.0, "m", "north"),
        "depth_m" => (1.0, "m", "depth"),
        "bearing_deg" => (1.0, "°", "bearing"),
        _ => (1.0, "°", "dip"),
    }
}
