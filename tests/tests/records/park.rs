//! A folder with records in it.

use std::ffi::OsStr;
use std::path::Path;
use std::process::{Command, Stdio};

use coilrig_tests::program::{self, Run, coilrig};
use serde_json::Value;
use tempfile::TempDir;

/// Units of a station that is entered in one go, with their station.
pub const UNITS: usize = 12;

pub struct Park(TempDir);

impl Park {
    /// New records in a new folder.
    pub fn new() -> Self {
        let park = Self(tempfile::tempdir().unwrap());
        park.run(&["records", "new"]).with_code(0);
        park
    }

    pub fn folder(&self) -> &Path {
        self.0.path()
    }

    pub fn run<S: AsRef<OsStr>>(&self, arguments: &[S]) -> Run {
        coilrig(self.folder(), arguments)
    }

    /// A station file of that name with as many new units.
    pub fn write_station(&self, name: &str) -> String {
        let mut text = format!("format = \"coilrig-station/1\"\nname = \"{name}\"\n");
        for unit in 0..UNITS {
            text += &format!(
                "[[unit]]\nname = \"{name} {unit}\"\nx_m = {unit}.0\ny_m = 1.0\ndepth_m = 1.0\n\
                 lie = {{ bearing_deg = 0, dip_deg = 0 }}\nperiod_s = 1.0{unit:02}\n\
                 on_time_s = 0.1\nfield_at_10_m = \"0.7uA/m\"\n"
            );
        }
        let file = format!("{name}.toml");
        std::fs::write(self.folder().join(&file), text).unwrap();
        file
    }

    /// Begin to enter a station: in one go, or not at all.
    pub fn station_command(&self, file: &str) -> Command {
        let mut command = Command::new(program::path());
        command.args(["records", "station", file, "--by", "warden"]);
        command.current_dir(self.folder()).stdin(Stdio::null());
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    }

    pub fn entries(&self) -> Vec<Value> {
        let list = self.run(&["records", "list", "--last", "0", "--all", "--json"]).json();
        list["entries"].as_array().unwrap().clone()
    }

    /// Names of the entries of that kind.
    pub fn says(&self, kind: &str) -> Vec<String> {
        let entries = self.entries();
        let of_kind = entries.iter().filter(|entry| entry["kind"] == kind);
        of_kind.map(|entry| entry["says"].as_str().unwrap().to_owned()).collect()
    }

    /// The file is whole and has these units.
    #[track_caller]
    pub fn check_whole_of_units(&self, expected: &[&str]) {
        let run = self.run(&["records", "check"]);
        run.with_code(0);
        assert!(run.stdout.contains("the file is whole"), "{run:?}");
        assert_eq!(self.says("unit"), expected);
    }

    /// The file is whole, and so is every station in it.
    #[track_caller]
    pub fn check_whole(&self) {
        let run = self.run(&["records", "check"]);
        run.with_code(0);
        assert!(run.stdout.contains("the file is whole"), "{run:?}");
        let units = self.says("unit");
        let stations = self.says("station");
        for station in &stations {
            let own = units.iter().filter(|unit| unit.starts_with(&format!("{station} "))).count();
            assert_eq!(own, UNITS, "station {station} is there in part");
        }
        let belonging = units
            .iter()
            .filter(|unit| stations.iter().any(|station| unit.starts_with(&format!("{station} "))));
        assert_eq!(belonging.count(), units.len(), "units without their station");
    }
}
