//! `coilrig station`: write and check station files, places from and to GeoJSON.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use coilrig_analysis::station::Geographic;

use super::Outcome;
use crate::error::{Error, Result};
use crate::files;
use crate::output::station as output;
use crate::{station_file, station_geojson};

/// Write and check station files: a training field and its units
#[derive(Debug, Args)]
pub struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Check(Check),
    New(New),
    Geojson(Geojson),
}

/// Check a station file and show what it says
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig station check captures/station.toml")]
struct Check {
    /// Station file (TOML)
    #[arg(value_name = "STATION")]
    station: PathBuf,
}

/// Begin a station file, with the places of the units from GeoJSON if there are any
///
/// What is not known yet stands in the new file as a comment to be filled in.
#[derive(Debug, Args)]
#[command(after_help = NEW)]
struct New {
    /// The file to write; it must not be there yet
    #[arg(value_name = "STATION")]
    station: PathBuf,
    /// Name of the station
    #[arg(long, value_name = "NAME")]
    name: String,
    /// GeoJSON with a point and a name for each unit, as phones and mapping programs
    /// export it
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    /// Zero point of the map, degrees by WGS84 [default: the first point of --from]
    #[arg(long, value_name = "LATITUDE,LONGITUDE", value_parser = geographic, allow_hyphen_values = true)]
    origin: Option<Geographic>,
}

const NEW: &str = "\
Example:
  coilrig station new meadow.toml --name \"Larch meadow\" --from points.geojson";

/// Print the units as GeoJSON points
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig station geojson captures/station.toml > units.geojson")]
struct Geojson {
    /// Station file (TOML) that says where its zero point is
    #[arg(value_name = "STATION")]
    station: PathBuf,
}

fn geographic(text: &str) -> std::result::Result<Geographic, String> {
    let number = |part: &str| part.trim().parse::<f64>().map_err(|e| format!("\"{part}\": {e}"));
    let (latitude, longitude) =
        text.split_once(',').ok_or("give two numbers with a comma between, such as 46.57,9.83")?;
    let place = Geographic { latitude_deg: number(latitude)?, longitude_deg: number(longitude)? };
    if !(place.latitude_deg.abs() <= 85.0 && place.longitude_deg.abs() <= 180.0) {
        return Err("a latitude is −85 to 85, a longitude −180 to 180 degrees".into());
    }
    Ok(place)
}

/// Run the command.
pub fn run(args: &Arguments) -> Result<Outcome> {
    let text = match &args.what {
        What::Check(args) => output::for_people(&station_file::load(&args.station)?),
        What::New(args) => return begin(args),
        What::Geojson(args) => {
            station_geojson::write(&station_file::load(&args.station)?, &args.station)?
        }
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    Ok(Outcome::Done)
}

fn begin(args: &New) -> Result<Outcome> {
    files::must_be_new(&args.station)?;
    let marked = args.from.as_deref().map(station_geojson::read).transpose()?.unwrap_or_default();
    let origin = args.origin.or_else(|| marked.first().map(|m| m.place));
    let text = output::begun(&args.name, origin, &marked);
    files::write_whole(&args.station, text.as_bytes())?;
    eprintln!(
        "coilrig: wrote {}: fill in what its comments ask for, then run coilrig station check {0}",
        args.station.display()
    );
    Ok(Outcome::Done)
}
