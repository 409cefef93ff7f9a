//! A page as PDF, by a browser that is on the machine.

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::error::{Error, Result};
use crate::files;

/// Browsers that print without a window, in the order in which they are looked for.
const BROWSERS: [&str; 4] =
    ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];
/// A browser that takes longer hangs.
const PATIENCE: Duration = Duration::from_secs(120);

/// Print the page `html` to `path`.
///
/// # Errors
///
/// No browser, one that fails or hangs, a place that cannot be written.
pub fn to_pdf(html: &str, path: &Path) -> Result<()> {
    let browser = find(std::env::var_os("PATH").as_deref()).ok_or_else(|| {
        Error::file(
            path.display(),
            format!("no browser to print with: none of {} is on PATH", BROWSERS.join(", ")),
            "install Chromium (the Debian package chromium), or print the HTML page by hand",
        )
    })?;
    let folder = tempfile::tempdir()
        .map_err(|e| Error::io(&std::env::temp_dir(), "make a temporary folder", &e))?;
    let [page, printed] = ["page.html", "page.pdf"].map(|name| folder.path().join(name));
    files::write_whole(&page, html.as_bytes())?;
    let mut command = Command::new(&browser);
    command
        .args(["--headless", "--disable-gpu", "--no-first-run", "--no-pdf-header-footer"])
        .arg(option("--user-data-dir=", &folder.path().join("profile")))
        .arg(option("--print-to-pdf=", &printed))
        .arg(option("file://", &page))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    // Chromium refuses to run as root with its sandbox; the page is our own.
    if rustix::process::geteuid().is_root() {
        command.arg("--no-sandbox");
    }
    let failed = |what: String| {
        let remedy = "print the HTML page by hand, or try another browser";
        Error::file(browser.display(), what, remedy)
    };
    let child = command.spawn().map_err(|e| failed(format!("cannot be started: {e}")))?;
    let said = wait(child).map_err(&failed)?;
    let bytes = std::fs::read(&printed).unwrap_or_default();
    if !bytes.starts_with(b"%PDF") {
        let last = said.lines().last().unwrap_or("it says nothing").to_owned();
        return Err(failed(format!("printed nothing: {last}")));
    }
    files::write_whole(path, &bytes)
}

fn option(name: &str, path: &Path) -> std::ffi::OsString {
    let mut text = std::ffi::OsString::from(name);
    text.push(path);
    text
}

fn find(path: Option<&std::ffi::OsStr>) -> Option<PathBuf> {
    let folders: Vec<PathBuf> = std::env::split_paths(path?).collect();
    let places = BROWSERS.iter().flat_map(|name| folders.iter().map(move |f| f.join(name)));
    places.into_iter().find(|place| place.is_file())
}

/// Wait for the end, within [`PATIENCE`]; what it said on standard error.
fn wait(mut child: Child) -> std::result::Result<String, String> {
    let mut pipe = child.stderr.take();
    let listener = std::thread::spawn(move || {
        let mut said = Vec::new();
        if let Some(pipe) = &mut pipe {
            // What it says only helps to explain a failure.
            let _ = pipe.read_to_end(&mut said);
        }
        String::from_utf8_lossy(&said).into_owned()
    });
    let started = Instant::now();
    loop {
        match child.try_wait() {
            Ok(Some(_)) => return Ok(listener.join().unwrap_or_default()),
            Ok(None) if started.elapsed() > PATIENCE => {
                let ended = child.kill().and_then(|()| child.wait());
                let how =
                    ended.map_or_else(|e| format!(", and cannot be ended: {e}"), |_| String::new());
                return Err(format!("did not end within {} s{how}", PATIENCE.as_secs()));
            }
            Ok(None) => std::thread::sleep(Duration::from_millis(20)),
            Err(e) => return Err(format!("cannot be waited for: {e}")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_browser_is_found_by_its_name_in_order() {
        let folder = tempfile::tempdir().unwrap();
        let search = |names: &[&str]| {
            for name in names {
                std::fs::write(folder.path().join(name), "").unwrap();
            }
            find(Some(folder.path().as_os_str()))
        };
        assert_eq!(search(&["firefox"]), None);
        assert_eq!(search(&["google-chrome"]), Some(folder.path().join("google-chrome")));
        assert_eq!(search(&["chromium"]), Some(folder.path().join("chromium")));
        assert_eq!(find(None), None);
    }
}
