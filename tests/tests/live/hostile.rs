//! Requests that no browser of a friend would send.

use std::io::{Read, Write};

use coilrig_tests::live::LivePage;
use tempfile::tempdir;

use super::demo;

const SHARED: &[&str] = &["--share", "--scenario"];

fn shared(folder: &std::path::Path) -> LivePage {
    LivePage::start(folder, &[SHARED, &[&demo(), "--out", "recordings"]].concat(), 2)
}

#[test]
fn without_a_link_there_is_nothing_to_see() {
    let folder = tempdir().unwrap();
    let page = shared(folder.path());
    for path in ["/", "/stream", "/page/live.js", "/lesson?depth_cm=100&tilt_deg=0"] {
        assert_eq!(page.ask(&format!("GET {path}"), &[], "").status, 403, "{path}");
    }
    let zeros = "0".repeat(32);
    for key in ["", "x", &zeros, &"f".repeat(33), "..%2f", "%00"] {
        for who in ["view", "operate"] {
            let answer = page.ask(&format!("GET /{who}/{key}"), &[], "");
            assert!(matches!(answer.status, 403 | 404), "{who} {key}: {answer:?}");
        }
    }
    // A viewer's key lets nobody operate, and the operator's is no viewer's.
    let swapped = page.path(1).replace("/view/", "/operate/");
    assert_eq!(page.ask(&format!("GET {swapped}"), &[], "").status, 403);
    let wrong = format!("Cookie: coilrig-{}={zeros}", page.port());
    assert_eq!(page.ask("GET /", &[&wrong], "").status, 403);
    // Guessing is slowed down.
    let many = (0..30).map(|n| page.ask(&format!("GET /view/{n:032x}"), &[], "").status);
    assert!(many.collect::<Vec<_>>().contains(&429));
    assert_eq!(page.ask("GET /", &[&page.cookie(1)], "").status, 200, "a friend gets in still");
}

#[test]
fn viewers_look_and_only_the_operator_acts_from_this_computer() {
    let folder = tempdir().unwrap();
    let page = shared(folder.path());
    let (operator, viewer, origin) = (page.cookie(0), page.cookie(1), page.origin());
    let order = r#"{"do":"record","name":"first"}"#;
    let looked = page.ask("GET /", &[&viewer], "");
    assert_eq!(looked.status, 200);
    for header in ["content-security-policy: default-src 'none'", "x-frame-options: DENY"] {
        assert!(looked.text.contains(header), "{}", looked.text);
    }
    assert_eq!(page.ask("POST /orders", &[&viewer, &origin], order).status, 403);
    // Nor does the operator's key from elsewhere, where there is a network to come from; the
    // decision itself has a test in `access`.
    let elsewhere = page.link(1).split('/').nth(2).unwrap();
    if !elsewhere.starts_with("127.") {
        let mut stream = std::net::TcpStream::connect(elsewhere).unwrap();
        let request = format!("GET / HTTP/1.1\r\nHost: {elsewhere}\r\n{operator}\r\n\r\n");
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = [0; 12];
        stream.read_exact(&mut answer).unwrap();
        assert_eq!(&answer, b"HTTP/1.1 403");
    }
    assert!(!folder.path().join("recordings/first.sigmf-meta").exists());
    assert_eq!(page.ask("POST /orders", &[&operator, &origin], order).status, 204);
    assert_eq!(page.ask("POST /orders", &[&operator, &origin], order).status, 409);
    std::thread::sleep(std::time::Duration::from_secs(1));
    assert_eq!(page.end(), Some(0));
    assert!(folder.path().join("recordings/first.sigmf-meta").exists());
}

#[test]
fn viewers_do_not_take_the_operators_place() {
    let folder = tempdir().unwrap();
    let page = shared(folder.path());
    let (operator, viewer) = (page.cookie(0), page.cookie(1));
    let open = |cookie: &str| {
        let mut stream = page.connect();
        let host = format!("127.0.0.1:{}", page.port());
        write!(stream, "GET /stream HTTP/1.1\r\nHost: {host}\r\n{cookie}\r\n\r\n").unwrap();
        let mut answer = [0; 12];
        stream.read_exact(&mut answer).unwrap();
        (String::from_utf8_lossy(&answer[9..]).into_owned(), stream)
    };
    let mut viewers = Vec::new();
    let last = loop {
        let (status, stream) = open(&viewer);
        if status != "200" || viewers.len() == 90 {
            break status;
        }
        viewers.push(stream);
    };
    assert_eq!(last, "503");
    assert!(viewers.len() >= 20, "{}", viewers.len());
    assert_eq!(open(&operator).0, "200");
}

#[test]
fn no_path_leads_to_the_disk() {
    let folder = tempdir().unwrap();
    let page = shared(folder.path());
    let cookie = page.cookie(0);
    for path in [
        "/page/../Cargo.toml",
        "/page/../../../../etc/passwd",
        "/page/%2e%2e/%2e%2e/etc/passwd",
        "/page/..%2f..%2fetc%2fpasswd",
        "/page/..%5c..%5cetc%5cpasswd",
        "/page//etc/passwd",
        "//etc/passwd",
        "/page/live.js%00.css",
        "/page/live.txt",
        "/live.txt",
        "/page/",
        "/page",
    ] {
        let answer = page.ask(&format!("GET {path}"), &[&cookie], "");
        assert!(matches!(answer.status, 400 | 404), "{path}: {answer:?}");
        assert!(!answer.text.contains("root:"), "{path}");
    }
    let origin = page.origin();
    for name in ["../out", "/tmp/out", "a/b", "..", "a.b", ""] {
        let order = format!(r#"{{"do":"record","name":"{name}"}}"#);
        assert_eq!(page.ask("POST /orders", &[&cookie, &origin], &order).status, 409, "{name}");
    }
    let left = std::fs::read_dir(folder.path().join("recordings")).unwrap().count();
    assert_eq!(left, 0);
}

#[test]
fn other_sites_may_not_ask() {
    let folder = tempdir().unwrap();
    let page = shared(folder.path());
    let (cookie, origin) = (page.cookie(0), page.origin());
    let stop = r#"{"do":"stop_recording"}"#;
    let post = |headers: &[&str]| page.ask("POST /orders", headers, stop).status;
    assert_eq!(post(&[&cookie, "Origin: http://evil.example"]), 403);
    assert_eq!(post(&[&cookie, "Origin: null"]), 403);
    assert_eq!(post(&[&cookie]), 403);
    assert_eq!(post(&[&cookie, &origin, "Sec-Fetch-Site: cross-site"]), 403);
    assert_eq!(post(&[&cookie, &origin, "Host: evil.example"]), 421);
    let get = |path: &str, headers: &[&str]| page.ask(&format!("GET {path}"), headers, "").status;
    assert_eq!(get("/stream", &[&cookie, "Sec-Fetch-Site: same-site"]), 403);
    assert_eq!(get("/stream", &[&cookie, "Origin: http://127.0.0.1:1"]), 403);
    // A name that somebody else's server made to lead here.
    assert_eq!(get("/", &[&cookie, "Host: rebound.example:80"]), 421);
    assert_eq!(get(&page.path(1), &["Host: rebound.example"]), 421);
    let options = page.ask("OPTIONS /orders", &[&cookie, "Origin: http://evil.example"], "");
    assert!(!options.text.to_lowercase().contains("access-control-allow"), "{options:?}");
}

#[test]
fn nonsense_and_masses_are_answered_and_the_page_lives_on() {
    let folder = tempdir().unwrap();
    let page = shared(folder.path());
    let (cookie, origin) = (page.cookie(0), page.origin());
    let order = |body: &str| page.ask("POST /orders", &[&cookie, &origin], body).status;
    for body in ["", "{", "null", "[1]", r#"{"do":"erase"}"#, r#"{"do":"record","to":"/"}"#, "\0"] {
        assert_eq!(order(body), 400, "{body:?}");
    }
    assert_eq!(order(&"[".repeat(4000)), 400);
    assert_eq!(order(&"x".repeat(5000)), 413);
    assert_eq!(order(&"x".repeat(3_000_000)), 413);
    let chunks = format!(
        "POST /orders HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n{cookie}\r\n{origin}\r\n\
         Transfer-Encoding: chunked\r\n\r\n{}0\r\n\r\n",
        page.port(),
        format!("1000\r\n{}\r\n", "y".repeat(4096)).repeat(50)
    );
    assert_eq!(page.send(chunks.as_bytes()).status, 413);
    let lesson = |query: &str| page.ask(&format!("GET /lesson?{query}"), &[&cookie], "").status;
    assert_eq!(lesson("depth_cm=150&tilt_deg=30"), 200);
    for query in ["depth_cm=0&tilt_deg=0", "depth_cm=-1", "depth_cm=NaN", "tilt_deg=91", "x=1"] {
        assert_eq!(lesson(query), 400, "{query}");
    }
    for bytes in [
        &b"\r\n\r\n\r\n"[..],
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n",
        b"BREW / HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n",
        b"POST /orders HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nx",
    ] {
        let answer = page.send(bytes);
        assert!(answer.status == 0 || answer.status >= 400, "{bytes:?}: {answer:?}");
    }
    let long = format!("X-Long: {}", "z".repeat(40_000));
    let answer = page.ask("GET /", &[&cookie, &long], "");
    assert!(matches!(answer.status, 0 | 431), "{answer:?}");
    let mut flood = (0..2000).map(|_| page.ask("GET /page/icon.svg", &[&cookie], "").status);
    assert!(flood.any(|status| status == 429), "a flood is let through");
    std::thread::sleep(std::time::Duration::from_secs(1));
    assert_eq!(page.ask("GET /", &[&cookie], "").status, 200);
}
