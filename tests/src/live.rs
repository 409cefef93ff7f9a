//! A live page that runs for the length of a test, and its server spoken to byte by byte.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

use crate::program;

/// A request that is not answered within this hangs.
const HANGS: Duration = Duration::from_secs(30);

/// A running `coilrig live`, ended when dropped.
pub struct LivePage {
    child: Child,
    links: Vec<String>,
    /// Kept open: the program may go on to write to it.
    _stdout: BufReader<ChildStdout>,
}

/// What a server answered.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Status; 0 when the connection was closed without one.
    pub status: u16,
    /// Head and body.
    pub text: String,
}

impl LivePage {
    /// Run `coilrig live ARGUMENTS` in `folder` on a free port, and wait until `links` links
    /// are told.
    ///
    /// # Panics
    ///
    /// When it ends instead, with what it said.
    pub fn start(folder: &Path, arguments: &[&str], links: usize) -> Self {
        let said = folder.join("live.txt");
        let stderr = File::create(&said).expect("a file for what the program says");
        let mut child = Command::new(program::path())
            .args(["live", "--web-port", "0"])
            .args(arguments)
            .current_dir(folder)
            .env("TZ", "UTC")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(stderr)
            .spawn()
            .expect("the program starts");
        let mut stdout = BufReader::new(child.stdout.take().expect("standard output is a pipe"));
        let mut page = Vec::new();
        for _ in 0..links {
            let mut line = String::new();
            stdout.read_line(&mut line).expect("what the program says can be read");
            let words = || std::fs::read_to_string(&said).unwrap_or_default();
            assert!(line.starts_with("http://"), "no link: {line}{}", words());
            page.push(line.trim_end().to_owned());
        }
        Self { child, links: page, _stdout: stdout }
    }

    /// The link of that number, the operator's first.
    pub fn link(&self, number: usize) -> &str {
        &self.links[number]
    }

    /// Its TCP port.
    pub fn port(&self) -> u16 {
        let host = self.links[0].split('/').nth(2).expect("a link has a host");
        host.rsplit_once(':').expect("a host has a port").1.parse().expect("a port is a number")
    }

    /// The path of a link.
    pub fn path(&self, number: usize) -> String {
        let from = self.links[number].match_indices('/').nth(2).expect("a link has a path").0;
        self.links[number][from..].to_owned()
    }

    /// Open a connection.
    ///
    /// # Panics
    ///
    /// When nobody listens.
    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port())).expect("the page listens");
        stream.set_read_timeout(Some(HANGS)).expect("a timeout can be set");
        stream
    }

    /// Send bytes and read the answer to its end; `Connection: close` is the sender's to ask for.
    pub fn send(&self, bytes: &[u8]) -> Answer {
        let mut stream = self.connect();
        // A server may answer and close before it has read all.
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let text = String::from_utf8_lossy(&answer).into_owned();
        let status = text.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        Answer { status, text }
    }

    /// A request with these further header lines and body.
    pub fn ask(&self, what: &str, headers: &[&str], body: &str) -> Answer {
        let host = format!("Host: 127.0.0.1:{}", self.port());
        let own = if headers.iter().any(|h| h.starts_with("Host:")) { "" } else { &host };
        let length = format!("Content-Length: {}", body.len());
        let lines: Vec<&str> = [own, "Connection: close", &length]
            .into_iter()
            .chain(headers.iter().copied())
            .filter(|line| !line.is_empty())
            .collect();
        self.send(format!("{what} HTTP/1.1\r\n{}\r\n\r\n{body}", lines.join("\r\n")).as_bytes())
    }

    /// The cookie line that the link of that number gives.
    ///
    /// # Panics
    ///
    /// When the link does not let in.
    pub fn cookie(&self, number: usize) -> String {
        let answer = self.ask(&format!("GET {}", self.path(number)), &[], "");
        assert_eq!(answer.status, 303, "{answer:?}");
        let line = answer.text.lines().find(|l| l.to_lowercase().starts_with("set-cookie:"));
        let value = line.expect("a cookie").split_once(':').expect("a header").1;
        format!("Cookie: {}", value.split(';').next().expect("a cookie").trim())
    }

    /// The Origin line of the page itself.
    pub fn origin(&self) -> String {
        format!("Origin: http://127.0.0.1:{}", self.port())
    }

    /// Ask it to end as a person would, and wait; its exit code.
    ///
    /// # Panics
    ///
    /// When it cannot be told.
    pub fn end(mut self) -> Option<i32> {
        let told = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(told.expect("kill runs").success());
        self.child.wait().expect("the program ends").code()
    }
}

impl Drop for LivePage {
    fn drop(&mut self) {
        // It may have ended; then there is nothing to do.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
