//! A station for people, and the beginning of a station file.

use coilrig_analysis::station::{FORMAT, Geographic, MapPlane, Station};
use coilrig_analysis::units;

use super::columns::align;
use crate::station_geojson::{Marked, NUMBERS};

/// What a station file says.
pub fn for_people(station: &Station) -> String {
    let mut text = format!("{}: {} units", station.name, station.units.len());
    if let Some(place) = &station.place {
        text += &format!(", {place}");
    }
    let slope = station.slope;
    text += &match slope.angle_deg {
        0.0 => "\nlevel".to_owned(),
        angle => format!("\nslope {angle}°, down towards {}°", slope.bearing_deg),
    };
    let known = |name: &str, value: Option<f64>, unit: &str| {
        value.map_or(String::new(), |v| format!(", {name} {v} {unit}"))
    };
    text += &known("snow", station.snow_depth_m, "m");
    text += &known("soil", station.soil_resistivity_ohm_m, "Ω·m");
    text += "\n\n";
    let header = [
        "unit",
        "serial",
        "east",
        "north",
        "depth",
        "square to slope",
        "bearing",
        "dip",
        "period",
        "on",
        "field at 10 m",
    ];
    let mut rows = vec![header.map(String::from).to_vec()];
    for unit in &station.units {
        rows.push(vec![
            unit.name.clone(),
            unit.serial.clone().unwrap_or_else(|| "–".into()),
            format!("{:.1} m", unit.x_m),
            format!("{:.1} m", unit.y_m),
            format!("{:.2} m", unit.depth_m),
            format!("{:.2} m", slope.along_normal_m(unit.depth_m)),
            format!("{}°", unit.lie.bearing_deg),
            format!("{}°", unit.lie.dip_deg),
            format!("{} ms", units::significant(unit.timing.period_s * 1e3, 6)),
            format!("{} ms", units::significant(unit.timing.on_time_s * 1e3, 4)),
            units::field(unit.field_at_10_m_a_per_m),
        ]);
    }
    text += &align(&rows);
    if !station.spares.is_empty() {
        text += "\n";
        text += &align(&spares(station));
    }
    for doubt in &station.doubts {
        text += &format!("\nline {}: {}", doubt.line, doubt.what);
    }
    if !station.doubts.is_empty() {
        text += "\n";
    }
    text
}

fn spares(station: &Station) -> Vec<Vec<String>> {
    let header = ["spare", "serial", "period", "on", "field at 10 m"];
    let rows = station.spares.iter().map(|spare| {
        vec![
            spare.name.clone(),
            spare.serial.clone().unwrap_or_else(|| "–".into()),
            format!("{} ms", units::significant(spare.timing.period_s * 1e3, 6)),
            format!("{} ms", units::significant(spare.timing.on_time_s * 1e3, 4)),
            units::field(spare.field_at_10_m_a_per_m),
        ]
    });
    std::iter::once(header.map(String::from).to_vec()).chain(rows).collect()
}

/// A station file to be filled in, with what the marked points tell.
pub fn begun(name: &str, origin: Option<Geographic>, marked: &[Marked]) -> String {
    let quoted = |text: &str| toml::Value::from(text).to_string();
    let mut text = format!(
        "# A station for coilrig. Metres on the map: x east, y north. Bearings in degrees\n\
         # from north to the east. Fill in what is asked for and take the # away.\n\n\
         format = \"{FORMAT}\"\nname = {}\n",
        quoted(name)
    );
    if let Some(origin) = origin {
        text += &format!(
            "origin = {{ latitude_deg = {:.8}, longitude_deg = {:.8} }} # where x and y are 0\n",
            origin.latitude_deg, origin.longitude_deg
        );
    }
    text += "# place =                                          in your own words\n\
             # slope = { angle_deg = , bearing_deg = }          bearing: which way is down\n\
             # snow_depth_m =\n\
             # soil_resistivity_ohm_m =                         where it is known\n\
             # field = { x_m = [ , ], y_m = [ , ] }             its edges\n";
    let plane = origin.map(|origin| MapPlane { origin });
    for point in marked {
        let at = plane.map_or([0.0; 2], |plane| plane.metres(point.place));
        text += &unit(&quoted(&point.name), Some(at), point, &quoted);
    }
    if marked.is_empty() {
        let nothing = Marked {
            name: String::new(),
            place: Geographic { latitude_deg: 0.0, longitude_deg: 0.0 },
            texts: Vec::new(),
            numbers: Vec::new(),
        };
        text += &unit("\"first\"", None, &nothing, &quoted);
    }
    text
}

fn unit(
    name: &str,
    at_m: Option<[f64; 2]>,
    known: &Marked,
    quoted: &dyn Fn(&str) -> String,
) -> String {
    let number = |name: &str| known.numbers.iter().find(|n| n.0 == name).map(|n| n.1.to_string());
    let string = |name: &str| known.texts.iter().find(|t| t.0 == name).map(|t| quoted(&t.1));
    let line = |name: &str, value: Option<String>, what: &str| match value {
        Some(value) => format!("{name} = {value}\n"),
        None => format!("# {name:<15} =    {what}\n"),
    };
    let [depth, bearing, dip, period, on_time] = NUMBERS;
    let place = |i: usize| at_m.map(|at| format!("{:.2}", at[i]));
    let lie = match (number(bearing), number(dip)) {
        (Some(bearing), Some(dip)) => {
            Some(format!("{{ bearing_deg = {bearing}, dip_deg = {dip} }}"))
        }
        _ => None,
    };
    let lies = "{ bearing_deg = , dip_deg = } of its antenna; dip 90 is upright";
    let field = "\"0.8uA/m\", the field on its axis 10 m away";
    [
        format!("\n[[unit]]\nname = {name}\n"),
        line("serial", string("serial"), "\"…\", of its maker"),
        line("x_m", place(0), "metres east"),
        line("y_m", place(1), "metres north"),
        line(depth, number(depth), "below the surface, vertically"),
        line("lie", lie, lies),
        line(period, number(period), "from pulse to pulse, such as 1.0"),
        line(on_time, number(on_time), "length of a pulse, such as 0.09"),
        line("field_at_10_m", string("field_at_10_m"), field),
    ]
    .concat()
}
