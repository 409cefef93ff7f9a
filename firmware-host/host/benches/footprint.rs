//! Memory and processor time of the program itself:
//! `cargo bench -p coilrig --bench footprint`.
//!
//! * `measure` on captures of growing length: peak memory must not grow.
//! * `record` from an emulated receiver in real time: share of one core, memory.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_coilrig");
const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../captures/demo.toml");

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    measure_memory(folder.path());
    live_cost(folder.path());
}

/// An emulated receiver and its device; ends with the value.
struct Emulated(Child, String);

impl Emulated {
    fn start(options: &[&str]) -> Self {
        let mut child = Command::new(PROGRAM)
            .args(["emulate", SCENARIO])
            .args(options)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program runs");
        let mut device = String::new();
        let output = child.stdout.take().expect("a pipe");
        BufReader::new(output).read_line(&mut device).expect("a device");
        Self(child, device.trim().to_owned())
    }
}

impl Drop for Emulated {
    fn drop(&mut self) {
        // Nothing is lost if it has ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Peak memory (MB) and processor time (s) of a child until it ends.
fn follow(mut child: Child) -> (f64, f64) {
    let process = format!("/proc/{}", child.id());
    let (mut peak_mb, mut cpu_s) = (0.0f64, 0.0);
    loop {
        if let (Ok(status), Ok(stat)) = (
            fs::read_to_string(format!("{process}/status")),
            fs::read_to_string(format!("{process}/stat")),
        ) {
            let peak = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
            let kb: Option<f64> =
                peak.and_then(|p| p.trim().strip_suffix(" kB")?.trim().parse().ok());
            peak_mb = peak_mb.max(kb.unwrap_or(0.0) / 1024.0);
            // Fields 14 and 15 of proc(5), after the name in parentheses, in 1/100 s.
            let fields: Vec<&str> =
                stat.rsplit(") ").next().unwrap_or("").split_whitespace().collect();
            let ticks = |i: usize| fields.get(i).and_then(|f| f.parse::<f64>().ok()).unwrap_or(0.0);
            cpu_s = (ticks(11) + ticks(12)).max(cpu_s * 100.0) / 100.0;
        }
        if child.try_wait().expect("a child").is_some() {
            return (peak_mb, cpu_s);
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn measure_memory(folder: &Path) {
    println!("measure, three axes at 8 kS/s, three units:");
    for seconds in [60, 600, 3600] {
        let emulated = Emulated::start(&["--fast"]);
        let name = folder.join(format!("c{seconds}"));
        let recorded = Command::new(PROGRAM)
            .args(["record", "--port", &emulated.1, "--duration", &seconds.to_string(), "--out"])
            .arg(&name)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        assert!(recorded.expect("the program runs").success());
        let start = Instant::now();
        let mut command = Command::new(PROGRAM);
        command.arg("measure").arg(&name).stdout(Stdio::null()).stderr(Stdio::null());
        let (peak_mb, cpu_s) = follow(command.spawn().expect("the program runs"));
        println!(
            "  {seconds:5} s of capture: peak {peak_mb:5.1} MB, {cpu_s:6.2} s of processor, \
             {:5.0} times real time",
            f64::from(seconds) / start.elapsed().as_secs_f64()
        );
    }
}

fn live_cost(folder: &Path) {
    const LIVE_S: f64 = 30.0;
    let emulated = Emulated::start(&[]);
    let child = Command::new(PROGRAM)
        .args(["record", "--port", &emulated.1, "--duration", &LIVE_S.to_string(), "--out"])
        .arg(folder.join("live"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let (peak_mb, cpu_s) = follow(child.expect("the program runs"));
    println!(
        "record, live with pulses counted: {:.1} % of one core, peak {peak_mb:.1} MB",
        100.0 * cpu_s / LIVE_S
    );
}
