//! A buried unit found, in words for a person outdoors.

use coilrig_analysis::locate::Location;
use coilrig_analysis::locate::location::{MOMENT_SIGN, Rival, StrongestPoint};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units::{self, plus_minus, significant};

/// A strongest point nearer than this share of the depth is right above.
const RIGHT_ABOVE: f64 = 0.03;

/// The results as a text.
pub fn for_people(found: &Location) -> String {
    let mut lines = vec![headline(found), probe(found), String::new()];
    if found.ambiguous {
        let answers = match found.further_rivals.len() {
            0 => "two answers; this is one, the other below".to_owned(),
            more => format!("{} answers; this is one, the others below", more + 2),
        };
        lines.insert(0, format!("AMBIGUOUS: the readings allow {answers}."));
    }
    lines.extend(table(found));
    lines.extend([String::new(), strongest(found)]);
    lines.extend(found.rival.iter().chain(&found.further_rivals).map(other_answer));
    if found.ambiguous {
        lines.push("Do not choose between them: measure on.".into());
    }
    lines.extend(next(found).map(|text| format!("\n{text}")));
    lines.extend(found.notes.iter().map(|note| format!("\nNote: {note}.")));
    lines.join("\n") + "\n"
}

fn headline(found: &Location) -> String {
    let depth = plus_minus(found.depth_normal_m, "m");
    let straight = plus_minus(found.depth_vertical_m, "m");
    match found.surface.falls_towards_deg {
        Some(_) => format!(
            "The unit lies {depth} below the snow, square to the slope; straight down it is {straight}."
        ),
        None => format!("The unit lies {straight} below the snow."),
    }
}

fn probe(found: &Location) -> String {
    let [x, y, z] = found.probe_point_m;
    let how = match found.surface.falls_towards_deg {
        Some(_) => "square to the slope",
        None => "straight down",
    };
    let coils = match found.surface.coil_height_m {
        0.0 => "the coils are taken to have been on the snow, see --coil-height-m".to_owned(),
        height => format!("the snow is taken as {} m below the coils", significant(height, 3)),
    };
    format!("Probe at {}, {how}; {coils}.", place(&[x, y, z]))
}

fn table(found: &Location) -> Vec<String> {
    let row = |name: &str, text: String| format!("{name:<16}{text}");
    let three = |values: &[Reading; 3], factor: f64, unit: &str| {
        ["x", "y", "z"]
            .iter()
            .zip(values)
            .map(|(axis, value)| format!("{axis} {}", plus_minus(value.scaled(factor), unit)))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let mut rows = vec![
        row("place", three(&found.position_m, 1.0, "m")),
        row("moment", three(&found.moment_a_m2, 1e3, "mA·m²")),
        row("", format!("its sign is {MOMENT_SIGN}")),
        row(
            "",
            format!(
                "{} in all, tilted by {} from the normal of the snow",
                plus_minus(found.moment_magnitude_a_m2.scaled(1e3), "mA·m²"),
                plus_minus(found.moment_tilt_deg, "°").replace(" °", "°"),
            ),
        ),
        row(
            "field at 10 m",
            format!("{} coaxial, in free space", units::field_reading(found.field_at_10_m_a_per_m)),
        ),
        row("surface", surface(found)),
        row(
            "fit",
            format!(
                "chi squared {} for {} degrees of freedom",
                significant(found.chi_squared, 3),
                found.degrees_of_freedom
            ),
        ),
    ];
    if found.u_calibration_rel > 0.0 {
        let share = significant(100.0 * found.u_calibration_rel, 2);
        rows.push(row(
            "calibration",
            format!("{share} % of field and moment, contained in their ±"),
        ));
    }
    if let Some(truth) = &found.truth {
        rows.push(row(
            "true place",
            format!(
                "{}: the answer is {} m off, {} times its uncertainty",
                place(&truth.position_m),
                significant(truth.off_m, 2),
                significant(truth.off_over_u, 2)
            ),
        ));
    }
    rows
}

fn surface(found: &Location) -> String {
    match found.surface.falls_towards_deg {
        None => "level".into(),
        Some(towards) => format!(
            "slopes by {}°, falls towards {}",
            significant(found.surface.slope_deg, 3),
            direction(towards)
        ),
    }
}

/// Where the strongest point is, and why.
fn strongest(found: &Location) -> String {
    let StrongestPoint { place_m, field_a_per_m, offset_m, towards_deg, share_of_depth } =
        &found.strongest_point;
    let at = format!(
        "The field is strongest at {}, {} at the height of the coils",
        place(place_m),
        units::field(*field_a_per_m)
    );
    if *share_of_depth < RIGHT_ABOVE {
        return format!(
            "{at},\nright above the unit, as its moment is nearly square to the snow or nearly along it."
        );
    }
    format!(
        "{at}:\n{} m from the point square above the unit ({} % of its depth below the coils), towards {},\n\
         because its moment is tilted by {}°; above an upright or a flat one it would be no way off.",
        significant(*offset_m, 2),
        significant(100.0 * share_of_depth, 2),
        direction(*towards_deg),
        significant(found.moment_tilt_deg.value, 2)
    )
}

fn other_answer(rival: &Rival) -> String {
    let [x, y, z] = &rival.position_m;
    let lead = match rival.chi_squared_difference {
        lead if lead < 0.01 => "its chi squared is as good as the same".to_owned(),
        lead => format!("its chi squared is larger by {} only", significant(lead, 2)),
    };
    format!(
        "\nAnother answer: {} below the snow at x {}, y {}, z {};\n{lead}.",
        plus_minus(rival.depth_normal_m, "m"),
        plus_minus(*x, "m"),
        plus_minus(*y, "m"),
        plus_minus(*z, "m"),
    )
}

fn next(found: &Location) -> Option<String> {
    let next = found.next_place.as_ref().filter(|_| found.loose)?;
    let at = place(&next.place_m);
    Some(match found.ambiguous {
        true => format!("Measure next at {at}, where the first two answers differ most."),
        false => format!(
            "The place is loose. Measure next at {at}: one more reading there should bring its\n\
             uncertainty from {} m to {} m.",
            significant(next.u_position_now_m, 2),
            significant(next.u_position_then_m, 2)
        ),
    })
}

fn place(at_m: &[f64; 3]) -> String {
    // Whole centimetres: nobody puts a coil or a probe down any finer.
    let [x, y, z] = at_m.map(units::to_hundredths);
    format!("x {x}, y {y}, z {z} m")
}

fn direction(degrees: f64) -> String {
    format!("{}° (from x towards y)", significant(degrees.round().rem_euclid(360.0), 3))
}
