//! Layered ground as people write it, in TOML.
//!
//! ```toml
//! format = "coilrig-ground/1"
//!
//! [[layer]]                        # from the surface down
//! name = "dry snow"
//! thickness_m = 2.0
//! relative_permittivity = 1.5
//! conductivity_s_per_m = 1e-6      # or resistivity_ohm_m
//!
//! [[layer]]                        # the last goes on without end
//! name = "soil"
//! resistivity_ohm_m = 100
//! relative_permittivity = 15
//! ```

use std::path::Path;

use coilrig_analysis::field::layered::{Ground, Material, Slab};
use serde::Deserialize;

use crate::error::{Error, Result};
use crate::toml_file;

const FORMAT: &str = "coilrig-ground/1";
const REMEDY: &str = "mend the file of layers; captures/ground.toml is an example";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    format: String,
    #[serde(rename = "layer")]
    layers: Vec<Layer>,
}

#[derive(Deserialize)]
#[serde(try_from = "Entry")]
struct Layer {
    material: Material,
    thickness_m: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    name: Option<String>,
    thickness_m: Option<f64>,
    relative_permittivity: f64,
    conductivity_s_per_m: Option<f64>,
    resistivity_ohm_m: Option<f64>,
}

impl TryFrom<Entry> for Layer {
    type Error = String;

    fn try_from(entry: Entry) -> std::result::Result<Self, String> {
        let name = entry.name.map_or("a layer".to_owned(), |name| format!("the layer \"{name}\""));
        let over = |quantity: &str, value: f64, least: f64, word: &str| {
            let fits = value.is_finite() && value >= least;
            fits.then_some(value).ok_or(format!("{name}: {quantity} is {value}, not {word}"))
        };
        let conductivity_s_per_m = match (entry.conductivity_s_per_m, entry.resistivity_ohm_m) {
            (Some(value), None) => over("conductivity_s_per_m", value, 0.0, "0 or more")?,
            (None, Some(value)) => {
                1.0 / over("resistivity_ohm_m", value, f64::MIN_POSITIVE, "a number over 0")?
            }
            _ => {
                let what = "needs either conductivity_s_per_m or resistivity_ohm_m";
                return Err(format!("{name} {what}"));
            }
        };
        let permittivity = entry.relative_permittivity;
        let relative_permittivity = over("relative_permittivity", permittivity, 1.0, "1 or more")?;
        let thickness_m = entry
            .thickness_m
            .map(|value| over("thickness_m", value, f64::MIN_POSITIVE, "a number over 0"))
            .transpose()?;
        let material = Material { conductivity_s_per_m, relative_permittivity };
        Ok(Self { material, thickness_m })
    }
}

/// Read the ground at `path`; its surface is at height 0.
///
/// # Errors
///
/// A file that cannot be read or is no ground, with the line where there is one.
pub fn load(path: &Path) -> Result<Ground> {
    let file: File = toml_file::load(path, REMEDY)?;
    let wrong = |what: String| Err(Error::file(path.display(), what, REMEDY));
    if file.format != FORMAT {
        return wrong(format!("has the format \"{}\", not \"{FORMAT}\"", file.format));
    }
    let Some((bottom, above)) = file.layers.split_last() else {
        return wrong("has no layers".to_owned());
    };
    if bottom.thickness_m.is_some() {
        return wrong(
            "the last layer has a thickness_m, but it goes on without end: take it out, or add \
             what lies below"
                .to_owned(),
        );
    }
    let slab = |(i, layer): (usize, &Layer)| {
        let thickness_m = layer.thickness_m.ok_or(i + 1)?;
        Ok(Slab { thickness_m, material: layer.material })
    };
    match above.iter().enumerate().map(slab).collect::<std::result::Result<Vec<_>, usize>>() {
        Ok(slabs) => Ok(Ground { surface_z_m: 0.0, slabs, bottom: bottom.material }),
        Err(layer) => wrong(format!("layer {layer} from the surface has no thickness_m")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "format = \"coilrig-ground/1\"\n\n[[layer]]\nname = \"dry snow\"\n\
                        thickness_m = 2.0\nrelative_permittivity = 1.5\n\
                        conductivity_s_per_m = 1e-6\n\n[[layer]]\nname = \"soil\"\n\
                        resistivity_ohm_m = 100\nrelative_permittivity = 15\n";

    fn loaded(text: &str) -> Result<Ground> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("ground.toml");
        std::fs::write(&path, text).unwrap();
        load(&path)
    }

    #[test]
    fn snow_over_soil_reads() {
        let ground = loaded(GOOD).unwrap();
        assert_eq!(ground.slabs[0].thickness_m, 2.0);
        assert!((ground.bottom.conductivity_s_per_m - 0.01).abs() < 1e-15);
    }

    #[test]
    fn what_is_wrong_is_named_with_its_place() {
        for (old, new, parts) in [
            ("= 100", "= -100", &["line 9", "\"soil\"", "resistivity_ohm_m is -100"][..]),
            ("= 1.5", "= 0.5", &["line 3", "dry snow", "relative_permittivity is 0.5"]),
            ("thickness_m = 2.0\n", "", &["layer 1 from the surface has no thickness_m"]),
            ("resistivity_ohm_m = 100", "thickness_m = 1", &["line 9", "needs either"]),
            ("= 100", "= 100\nthickness_m = 3", &["last layer has a thickness_m"]),
            ("thickness_m = 2.0", "thikness_m = 2.0", &["line 5", "thikness_m"]),
            ("ground/1", "ground/9", &["\"coilrig-ground/9\""]),
        ] {
            let error = loaded(&GOOD.replacen(old, new, 1)).unwrap_err().to_string();
            for part in parts {
                assert!(error.contains(part), "{part} in {error}");
            }
        }
        assert!(loaded("format = \"coilrig-ground/1\"\nlayer = []\n").is_err());
    }
}
