//! A recording from the page, whatever viewers do.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::time::{Duration, Instant};

use coilrig_tests::json::number;
use coilrig_tests::live::LivePage;
use coilrig_tests::program::coilrig;
use tempfile::tempdir;

use super::demo;

/// Open the stream and never read it.
fn slow_viewer(page: &LivePage, cookie: &str) -> TcpStream {
    let mut stream = page.connect();
    let host = format!("127.0.0.1:{}", page.port());
    write!(stream, "GET /stream HTTP/1.1\r\nHost: {host}\r\n{cookie}\r\n\r\n").unwrap();
    stream
}

#[test]
fn slow_and_vanished_viewers_cost_a_recording_nothing() {
    let folder = tempdir().unwrap();
    let scenario = demo();
    let arguments = ["--scenario", &scenario, "--share", "--out", "."];
    let page = LivePage::start(folder.path(), &arguments, 2);
    let (operator, viewer, origin) = (page.cookie(0), page.cookie(1), page.origin());
    let order = |body: &str| page.ask("POST /orders", &[&operator, &origin], body).status;
    let slow: Vec<TcpStream> = (0..10).map(|_| slow_viewer(&page, &viewer)).collect();
    assert_eq!(order(r#"{"do":"record","name":"busy","unit":"hut 7"}"#), 204);
    let until = Instant::now() + Duration::from_secs(8);
    while Instant::now() < until {
        // One that comes, hears a little and is gone.
        let mut hasty = slow_viewer(&page, &viewer);
        let mut some = [0; 2000];
        let _ = hasty.read(&mut some);
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(order(r#"{"do":"stop_recording"}"#), 204);
    drop(slow);
    assert_eq!(page.end(), Some(0));
    let measured = coilrig(folder.path(), &["measure", "busy", "--json"]).json();
    assert_eq!(number(&measured["capture"]["gaps"]), 0.0);
    assert!(number(&measured["capture"]["duration_s"]) > 7.5, "{measured}");
    assert_eq!(measured["transmitters"].as_array().unwrap().len(), 3);
    let meta = std::fs::read_to_string(folder.path().join("busy.sigmf-meta")).unwrap();
    assert!(meta.contains("hut 7") && meta.contains("coilrig:field_per_count"), "{meta}");
}

/// One coil, two seconds of a faint tone, then what is no number.
fn spoiled_capture(folder: &Path) {
    let meta = r#"{"global": {"core:version": "1.2.0", "core:datatype": "cf32_le",
        "core:num_channels": 1, "core:sample_rate": 8000},
        "captures": [{"core:sample_start": 0, "core:frequency": 457000}], "annotations": []}"#;
    std::fs::write(folder.join("spoiled.sigmf-meta"), meta).unwrap();
    let value = |n: usize| if n == 16_000 { f32::NAN } else { (n as f32).sin() };
    let data = (0..24_000).flat_map(|n| [value(n).to_le_bytes(), [0; 4]]).flatten();
    std::fs::write(folder.join("spoiled.sigmf-data"), data.collect::<Vec<u8>>()).unwrap();
}

#[test]
fn a_replay_that_fails_says_so_on_the_page_and_at_its_end() {
    let folder = tempdir().unwrap();
    spoiled_capture(folder.path());
    let page = LivePage::start(folder.path(), &["--capture", "spoiled", "--speed", "50"], 1);
    let mut stream = slow_viewer(&page, &page.cookie(0));
    let mut heard = String::new();
    let mut some = [0; 4096];
    while !heard.contains("\"is_over\":true") {
        let count = stream.read(&mut some).unwrap();
        assert!(count > 0, "{heard}");
        heard += &String::from_utf8_lossy(&some[..count]);
    }
    assert!(heard.contains("sample 16000, channel 0"), "{heard}");
    let said = || std::fs::read_to_string(folder.path().join("live.txt")).unwrap();
    let until = Instant::now() + Duration::from_secs(10);
    while !said().contains("the page shows what was played until there") {
        assert!(Instant::now() < until, "nothing is said while the page stands: {}", said());
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(said().contains("sample 16000"), "{}", said());
    assert_eq!(page.ask("GET /", &[&page.cookie(0)], "").status, 200);
    assert_eq!(page.end(), Some(3), "{}", said());
}

#[test]
fn a_capture_is_played_and_what_cannot_be_shown_is_refused() {
    let folder = tempdir().unwrap();
    let run = coilrig(folder.path(), &["live", "--capture", "none"]);
    run.refused(3, &["none.sigmf-meta"]);
    coilrig(folder.path(), &["live", "--port", "/dev/none", "--web-port", "0"])
        .refused(4, &["/dev/none"]);
    coilrig(folder.path(), &["live"]).with_code(2);
    coilrig(folder.path(), &["live", "--capture", "a", "--speed", "0"]).with_code(2);
    coilrig(folder.path(), &["live", "--capture", "a", "--out", "b"]).with_code(2);
    let scenario = demo();
    let taken = LivePage::start(folder.path(), &["--scenario", &scenario], 1);
    let port = taken.port().to_string();
    coilrig(folder.path(), &["live", "--scenario", &scenario, "--web-port", &port])
        .refused(4, &[&port, "--web-port"]);
}
