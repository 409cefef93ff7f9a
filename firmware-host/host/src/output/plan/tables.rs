//! What the pictures of a plan show, as CSV.

use coilrig_analysis::plan::Masking;

use super::Planned;
use crate::error::{Error, Result};

/// Rows under a header; cells are quoted where they must be.
fn table(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let bad = |e: csv::Error| Error::file("results", e.to_string(), "report this");
    writer.write_record(header).map_err(bad)?;
    for row in rows {
        writer.write_record(&row).map_err(bad)?;
    }
    let bytes =
        writer.into_inner().map_err(|e| Error::file("results", e.to_string(), "report this"))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn or_empty(value: Option<f64>) -> String {
    value.map_or(String::new(), |v| v.to_string())
}

/// Every pair; empty where two never part.
pub fn masking(masking: &Masking) -> Result<String> {
    let header = [
        "unit",
        "other",
        "heard_together",
        "share_of_time",
        "share_of_pulses",
        "share_of_other_pulses",
        "longest_s",
        "again_after_s",
    ];
    let rows = masking.pairs.iter().map(|pair| {
        vec![
            pair.units[0].clone(),
            pair.units[1].clone(),
            pair.heard_together.to_string(),
            pair.share_of_time.to_string(),
            pair.share_of_pulses[0].to_string(),
            pair.share_of_pulses[1].to_string(),
            or_empty(pair.longest_s),
            or_empty(pair.again_after_s),
        ]
    });
    table(&header, rows)
}

/// The map, one row a place: the strongest unit, by how much it leads, all fields.
pub fn field_map(planned: &Planned<'_>) -> Result<String> {
    let (map, slope) = (&planned.plan.map, planned.station.slope);
    let names: Vec<&str> = planned.station.units.iter().map(|u| u.name.as_str()).collect();
    let of_units: Vec<String> = names.iter().map(|name| format!("{name}_a_per_m")).collect();
    let mut header = vec!["x_m", "y_m", "snow_z_m", "strongest", "field_a_per_m"];
    header.extend(of_units.iter().map(String::as_str));
    let places = (0..map.y_m.len()).flat_map(|j| (0..map.x_m.len()).map(move |i| (i, j)));
    let row = |(i, j): (usize, usize)| {
        let (x, y) = (map.x_m[i], map.y_m[j]);
        let mut row = vec![format!("{x:.3}"), format!("{y:.3}")];
        row.push(format!("{:.3}", slope.height_m(x, y)));
        row.push(names[map.strongest[j][i]].to_owned());
        row.push(format!("{:.4e}", map.field_a_per_m[j][i]));
        row.extend(map.of_units.iter().map(|rows| format!("{:.4e}", rows[j][i])));
        row
    };
    table(&header, places.map(row))
}

/// Shares of the field that belong to each unit.
pub fn shares(planned: &Planned<'_>) -> Result<String> {
    let units = planned.station.units.iter().zip(&planned.plan.shares.units);
    let rows = units.map(|(unit, shares)| {
        vec![unit.name.clone(), shares.heard.to_string(), shares.strongest.to_string()]
    });
    table(&["unit", "heard_share", "strongest_share"], rows)
}

/// Where each unit is first heard; empty where it is not.
pub fn first_heard(planned: &Planned<'_>) -> Result<String> {
    let header = [
        "unit",
        "x_m",
        "y_m",
        "lane",
        "after_m",
        "field_a_per_m",
        "distance_m",
        "straight_m",
        "along_field_m",
        "end",
        "end_from_unit_m",
    ];
    let units = planned.station.units.iter().zip(&planned.plan.walk.units);
    let rows = units.map(|(unit, heard)| {
        let Some(heard) = heard else {
            let mut row = vec![String::new(); header.len()];
            row[0] = unit.name.clone();
            return row;
        };
        let found = heard.summary(&planned.plan.field);
        vec![
            unit.name.clone(),
            format!("{:.3}", found.x_m),
            format!("{:.3}", found.y_m),
            found.lane.to_string(),
            format!("{:.3}", found.after_m),
            format!("{:.4e}", found.field_a_per_m),
            format!("{:.3}", found.distance_m),
            format!("{:.3}", found.straight_m),
            found.along_field_m.map_or(String::new(), |m| format!("{m:.3}")),
            found.end.words().to_owned(),
            format!("{:.3}", found.end_from_unit_m),
        ]
    });
    table(&header, rows)
}

/// The ways along the field, point by point, as far as the slow search.
pub fn search_paths(planned: &Planned<'_>) -> Result<String> {
    let units = planned.station.units.iter().zip(&planned.plan.walk.units);
    let rows = units.filter_map(|(unit, heard)| Some((unit, heard.as_ref()?)));
    let rows = rows.flat_map(|(unit, heard)| {
        heard.path.points.iter().map(|at| {
            let [x, y] = planned.plan.field.on_map(*at);
            vec![unit.name.clone(), format!("{x:.3}"), format!("{y:.3}")]
        })
    });
    table(&["unit", "x_m", "y_m"], rows)
}

/// Every maximum above every unit, for each reception.
pub fn maxima(planned: &Planned<'_>) -> Result<String> {
    let header = ["unit", "reception", "x_m", "y_m", "field_a_per_m", "offset_m", "share_of_depth"];
    let units = planned.station.units.iter().zip(&planned.plan.above);
    let rows = units.flat_map(|(unit, above)| {
        let all = above.maxima.iter().flat_map(|of| of.all.iter().map(move |m| (of.reception, m)));
        all.map(|(reception, maximum)| {
            let [x, y] = planned.plan.on_the_snow.on_map(maximum.at);
            vec![
                unit.name.clone(),
                reception.words().to_owned(),
                format!("{x:.4}"),
                format!("{y:.4}"),
                format!("{:.4e}", maximum.field_a_per_m),
                format!("{:.4}", maximum.offset_m),
                format!("{:.4}", maximum.share_of_depth),
            ]
        })
        .collect::<Vec<_>>()
    });
    table(&header, rows)
}
