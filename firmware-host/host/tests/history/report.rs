//! What `report` writes.

use super::{TODAY, coilrig, command, done, park, refused};

#[test]
fn a_season_of_a_station_is_one_page() {
    let park = park();
    let arguments = [
        "report",
        "--station",
        "Larch meadow",
        "--season",
        "2025/26",
        "--as-of",
        TODAY,
        "--since",
        "2025-07-10",
        "--out",
        "season.html",
    ];
    assert_eq!(done(&coilrig(park.path(), &arguments)), "");
    let page = std::fs::read_to_string(park.path().join("season.html")).unwrap();
    for part in [
        "<h1>Larch meadow: season 2025/26</h1>",
        "never transmit tests near a rescue",
        "What wants looking at",
        "field at 10 m is below its limit",
        "Map of Larch meadow",
        "slope 12°",
        "Changes since 2025-07-10",
        "verified by en-300-718-1: undecided",
        "decided: watch",
        "battery: two new ones",
        "Carrier of fence",
        "What is due",
    ] {
        assert!(page.contains(part), "no \"{part}\"");
    }
    // Everything is in the page, and nothing of earlier seasons is listed.
    assert!(
        !page.contains("src=") && !page.contains("<link") && !page.contains("before the first")
    );
    // Steady units have no charts here.
    assert!(!page.contains("Carrier of post"));
}

#[test]
fn a_report_of_a_unit_has_all_its_charts() {
    let park = park();
    let arguments = ["report", "--unit", "post", "--as-of", TODAY, "--out", "post.html"];
    done(&coilrig(park.path(), &arguments));
    let page = std::fs::read_to_string(park.path().join("post.html")).unwrap();
    assert!(page.contains("Carrier of post") && page.contains("Field at 10 m of post"));
    assert!(page.contains("Nothing beyond chance") && page.contains("before the first season"));
}

#[test]
fn what_cannot_be_reported_is_explained() {
    let park = park();
    let no = |more: &[&str]| coilrig(park.path(), &[&["report"], more].concat());
    refused(&no(&[]), 2, &["--out"]);
    refused(&no(&["--out", "x.html", "--season", "2025"]), 2, &["2025/26"]);
    refused(&no(&["--out", "x.html", "--season", "2199/00"]), 2, &["has not begun"]);
    refused(&no(&["--out", "x.html", "--from", "2026-02-01", "--to", "2026-01-01"]), 2, &["--to"]);
    refused(&no(&["--out", "x.html", "--as-of", TODAY, "--since", TODAY]), 2, &["--since"]);
    refused(&no(&["--export", "tables"]), 2, &["--park"]);
    refused(&no(&["--out", "no/such/x.html"]), 3, &["no/such/x.html"]);
    assert!(!park.path().join("x.html").exists());
}

#[test]
fn without_a_browser_the_error_says_what_to_install() {
    let park = park();
    let arguments = ["report", "--unit", "post", "--pdf", "post.pdf"];
    let output = command(park.path(), &arguments).env("PATH", "/nowhere").output().unwrap();
    refused(&output, 3, &["post.pdf", "chromium", "install"]);
    assert!(!park.path().join("post.pdf").exists());
}

/// With a browser on the machine: `tests/run` sees to one.
#[test]
fn a_browser_prints_the_page_on_a4() {
    let park = park();
    let arguments =
        ["report", "--station", "Larch meadow", "--as-of", TODAY, "--pdf", "station.pdf"];
    done(&coilrig(park.path(), &arguments));
    let pdf = std::fs::read(park.path().join("station.pdf")).unwrap();
    assert!(pdf.starts_with(b"%PDF") && pdf.len() > 20_000, "{} bytes", pdf.len());
    // 210 mm × 297 mm in points.
    let said = String::from_utf8_lossy(&pdf);
    let page = said.split("/MediaBox").nth(1).expect("a page has a size");
    let numbers: Vec<f64> = page
        .split(|c: char| !(c.is_ascii_digit() || c == '.'))
        .filter_map(|number| number.parse().ok())
        .take(4)
        .collect();
    assert!((numbers[2] - 595.3).abs() < 1.0 && (numbers[3] - 841.9).abs() < 1.0, "{numbers:?}");
}
