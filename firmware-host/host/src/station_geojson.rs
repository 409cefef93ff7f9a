//! A station as GeoJSON (RFC 7946) and back: one point a unit, positions by WGS84.
//!
//! What a unit has besides its place stands in the point's properties under the names
//! of the station file: `name`, `serial`, `depth_m`, `bearing_deg`, `dip_deg`,
//! `period_s`, `on_time_s`, `field_at_10_m`. Other properties are left alone.

use std::path::Path;

use coilrig_analysis::station::{Geographic, MapPlane, PlannedUnit, Station};
use coilrig_analysis::units;
use geojson::{Feature, FeatureCollection, GeoJson, GeometryValue, JsonObject, JsonValue};

use crate::error::{Error, Result};
use crate::files;

/// Names of the numbers in a point's properties, as in the station file.
pub const NUMBERS: [&str; 5] = ["depth_m", "bearing_deg", "dip_deg", "period_s", "on_time_s"];

/// A point of a file that is to become a unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Marked {
    /// Its name.
    pub name: String,
    /// Where it is.
    pub place: Geographic,
    /// Properties that are texts: `serial`, `field_at_10_m`.
    pub texts: Vec<(String, String)>,
    /// Properties that are numbers: [`NUMBERS`].
    pub numbers: Vec<(String, f64)>,
}

/// The station as a collection of points; places by the plane of its map.
///
/// # Errors
///
/// A station that does not say where its zero point is.
pub fn write(station: &Station, path: &Path) -> Result<String> {
    let origin = station.origin.ok_or_else(|| {
        Error::file(
            path.display(),
            "does not say where on earth the zero point of its map is",
            "add origin = { latitude_deg = …, longitude_deg = … }",
        )
    })?;
    let plane = MapPlane { origin };
    let features: Vec<Feature> = station.units.iter().map(|unit| feature(unit, &plane)).collect();
    let collection = GeoJson::from(FeatureCollection::from_iter(features));
    let text = serde_json::to_string_pretty(&collection).map_err(|e| {
        Error::file("results", format!("cannot be put as GeoJSON: {e}"), "report this")
    })?;
    Ok(text + "\n")
}

fn feature(unit: &PlannedUnit, plane: &MapPlane) -> Feature {
    let place = plane.place([unit.x_m, unit.y_m]);
    // 1e-8 degrees are a millimetre.
    let rounded = |degrees: f64| (degrees * 1e8).round() / 1e8;
    let at = vec![rounded(place.longitude_deg), rounded(place.latitude_deg)];
    let mut properties = JsonObject::new();
    properties.insert("name".into(), unit.name.clone().into());
    if let Some(serial) = &unit.serial {
        properties.insert("serial".into(), serial.clone().into());
    }
    let numbers = [
        unit.depth_m,
        unit.lie.bearing_deg,
        unit.lie.dip_deg,
        unit.timing.period_s,
        unit.timing.on_time_s,
    ];
    for (name, value) in NUMBERS.into_iter().zip(numbers) {
        properties.insert(name.into(), value.into());
    }
    let field = format!("{}nA/m", units::significant(unit.field_at_10_m_a_per_m * 1e9, 4));
    properties.insert("field_at_10_m".into(), field.into());
    let mut feature = Feature::from(GeometryValue::new_point(at));
    feature.properties = Some(properties);
    feature
}

/// The points of the file at `path`, in its order.
///
/// # Errors
///
/// A file that is no GeoJSON or has no points, a feature that is none, a point without
/// a name or not on earth.
pub fn read(path: &Path) -> Result<Vec<Marked>> {
    let text = files::read_text(path)?;
    let json: GeoJson = text.parse().map_err(|e: geojson::Error| {
        Error::file(path.display(), format!("is no GeoJSON: {e}"), "export the points anew")
    })?;
    let features = match json {
        GeoJson::FeatureCollection(collection) => collection.features,
        GeoJson::Feature(feature) => vec![feature],
        GeoJson::Geometry(_) => Vec::new(),
    };
    if features.is_empty() {
        let what = "has no features: no points with names";
        return Err(Error::file(path.display(), what, "export the units as points with names"));
    }
    (1..).zip(features).map(|(number, feature)| marked(path, number, &feature)).collect()
}

fn marked(path: &Path, number: usize, feature: &Feature) -> Result<Marked> {
    let bad = |what: &str, remedy: &str| {
        Error::file(format!("{}, feature {number}", path.display()), what, remedy)
    };
    let geometry = feature.geometry.as_ref().map(|g| &g.value);
    let Some(GeometryValue::Point { coordinates }) = geometry else {
        return Err(bad("is no point", "keep only the points of the units"));
    };
    let place = match coordinates.as_slice() {
        [longitude_deg, latitude_deg, ..] => {
            Geographic { latitude_deg: *latitude_deg, longitude_deg: *longitude_deg }
        }
        _ => return Err(bad("has no position", "export the points anew")),
    };
    if place.latitude_deg.abs() > 85.0 || place.longitude_deg.abs() > 180.0 {
        let what =
            format!("lies at longitude {}, latitude {}", place.longitude_deg, place.latitude_deg);
        return Err(bad(&what, "export in degrees by WGS84, longitude first (RFC 7946)"));
    }
    let property = |name: &str| feature.properties.as_ref().and_then(|all| all.get(name));
    let text = |name: &str| property(name).and_then(JsonValue::as_str).map(str::to_owned);
    let name = text("name").ok_or_else(|| {
        bad("has no name", "give every point a property \"name\", the unit's name")
    })?;
    let number = |name: &str| Some((name.to_owned(), property(name)?.as_f64()?));
    let texts = ["serial", "field_at_10_m"].into_iter();
    Ok(Marked {
        name,
        place,
        texts: texts.filter_map(|name| Some((name.to_owned(), text(name)?))).collect(),
        numbers: NUMBERS.into_iter().filter_map(number).collect(),
    })
}
