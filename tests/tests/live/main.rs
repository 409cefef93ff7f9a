//! The live page: its server against those who mean harm, the page in a browser.

mod browser;
mod hostile;
mod recording;
mod surveys;

use coilrig_tests::repository_file;

fn demo() -> String {
    repository_file("captures/demo.toml").display().to_string()
}
