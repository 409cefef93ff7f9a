//! An emulated receiver in the hands of its owner.

use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Sender, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use coilrig_analysis::scenario::{Change, Orientation, Scenario};
use tempfile::TempDir;

use super::engine::{Control, Engine, Pace};
use super::event::Watcher;
use super::rig::Rig;
use crate::error::{Error, Result};

/// How to run an emulated receiver.
#[derive(Default)]
pub struct Options {
    /// How fast it streams.
    pub pace: Pace,
    /// Where the device is to be found; in a folder of its own when `None`.
    pub link: Option<PathBuf>,
    /// Who is told what happens.
    pub watcher: Option<Watcher>,
}

/// An emulated receiver that runs in a thread of its own. It ends, and its
/// device vanishes, when this is dropped.
pub struct EmulatorHandle {
    device: PathBuf,
    controls: Sender<Control>,
    thread: Option<JoinHandle<Result<()>>>,
    /// Goes with the handle, after the link in it.
    _folder: Option<TempDir>,
}

/// Start an emulated receiver. Its device is there when this returns.
///
/// # Errors
///
/// A scenario that makes no sense, or a device that cannot be made.
pub fn spawn(scenario: &Scenario, options: Options) -> Result<EmulatorHandle> {
    let (link, folder) = match options.link {
        Some(link) => (link, None),
        None => {
            let folder = tempfile::Builder::new()
                .prefix("coilrig-")
                .tempdir()
                .map_err(|e| Error::io(&std::env::temp_dir(), "make a folder", &e))?;
            (folder.path().join("receiver"), Some(folder))
        }
    };
    let (controls, obeyed) = channel();
    let watcher = options.watcher.unwrap_or_else(|| Box::new(|_| ()));
    let rig = Rig::new(scenario)?;
    let engine = Engine::new(rig, &scenario.faults, link.clone(), options.pace, obeyed, watcher)?;
    let thread = std::thread::Builder::new()
        .name("emulator".into())
        .spawn(move || engine.run())
        .map_err(|e| Error::io(&link, "start a thread for", &e))?;
    Ok(EmulatorHandle { device: link, controls, thread: Some(thread), _folder: folder })
}

impl EmulatorHandle {
    /// The device to open as a serial port. The path stays the same when the
    /// port vanishes and comes back.
    pub fn device(&self) -> &Path {
        &self.device
    }

    /// Put the receiver at `position_m`; holds for all samples yet to be made.
    /// Between recordings nothing recorded before is touched. While streaming,
    /// samples on their way to the host are still from the old place.
    ///
    /// # Errors
    ///
    /// A place on top of a unit or out of the world, or an emulator that ended.
    pub fn place(&self, position_m: [f64; 3]) -> Result<()> {
        self.change(Change::Place(position_m))
    }

    /// Hold the receiver so; otherwise as [`Self::place`].
    ///
    /// # Errors
    ///
    /// An orientation that is no rotation, or an emulator that ended.
    pub fn turn(&self, orientation: Orientation) -> Result<()> {
        self.change(Change::Turn(orientation))
    }

    /// Lay a unit so that its moment, A·m², is this along x, y, z; otherwise as
    /// [`Self::place`].
    ///
    /// # Errors
    ///
    /// A unit that is not in the scenario, or an emulator that ended.
    pub fn lay(&self, unit: &str, moment_a_m2: [f64; 3]) -> Result<()> {
        self.change(Change::Lay { unit: unit.into(), moment_a_m2 })
    }

    /// Switch a unit on or off; otherwise as [`Self::place`].
    ///
    /// # Errors
    ///
    /// A unit that is not in the scenario, or an emulator that ended.
    pub fn switch(&self, unit: &str, on: bool) -> Result<()> {
        self.change(Change::Switch { unit: unit.into(), on })
    }

    /// Pull the cable for a while of real time. The receiver is then as just
    /// switched on.
    ///
    /// # Errors
    ///
    /// An emulator that ended.
    pub fn vanish(&self, for_time: Duration) -> Result<()> {
        self.controls.send(Control::Vanish(for_time)).map_err(|_| self.ended())
    }

    /// Whether the emulator has ended of itself, in trouble.
    pub fn has_ended(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// End the emulator and remove its device.
    ///
    /// # Errors
    ///
    /// The trouble that it had ended in before.
    pub fn shutdown(mut self) -> Result<()> {
        self.end()
    }

    /// Change the scene; otherwise as [`Self::place`].
    ///
    /// # Errors
    ///
    /// A change that makes no sense, or an emulator that ended.
    pub fn change(&self, change: Change) -> Result<()> {
        let (answer, answered) = sync_channel(1);
        self.controls.send(Control::Change(change, answer)).map_err(|_| self.ended())?;
        answered
            .recv()
            .map_err(|_| self.ended())?
            .map_err(|e| Error::receiver(self.device.display(), e.to_string(), e.remedy))
    }

    fn end(&mut self) -> Result<()> {
        // An emulator that has ended takes no controls and needs none.
        let _ = self.controls.send(Control::ShutDown);
        match self.thread.take().map(JoinHandle::join) {
            None => Ok(()),
            Some(Ok(result)) => result,
            Some(Err(panic)) => std::panic::resume_unwind(panic),
        }
    }

    fn ended(&self) -> Error {
        Error::receiver(self.device.display(), "the emulated receiver has ended", "start it again")
    }
}

impl Drop for EmulatorHandle {
    fn drop(&mut self) {
        if let Some(thread) = self.thread.take() {
            let _ = self.controls.send(Control::ShutDown);
            // Its trouble is for `shutdown` to tell; nobody asks here.
            let _ = thread.join();
        }
    }
}

impl fmt::Debug for EmulatorHandle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("EmulatorHandle").field("device", &self.device).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use coilrig_wire::{Decoder, FromHost, FromReceiver, MAX_PACKET_BYTES, encode};
    use serialport::SerialPort;

    /// A host at the other end of the cable.
    struct Host {
        port: Box<dyn SerialPort>,
        decoder: Decoder<MAX_PACKET_BYTES>,
        unread: Vec<u8>,
    }

    #[derive(Debug, PartialEq)]
    enum Heard {
        Hello { serial: String, axes: u8 },
        Samples { first_index: u64, gain_step: u8, iq: Vec<u8> },
        Status { dropped: u64 },
        Done(FromHost),
        Refused(FromHost),
        Damaged,
    }

    impl Host {
        fn connect(device: &Path) -> Self {
            let port = serialport::new(device.to_string_lossy(), 0)
                .timeout(Duration::from_secs(10))
                .open()
                .unwrap();
            Self { port, decoder: Decoder::new(), unread: Vec::new() }
        }

        fn say(&mut self, command: FromHost) {
            let mut buffer = [0; MAX_PACKET_BYTES];
            self.port.write_all(encode(&command, &mut buffer).unwrap()).unwrap();
        }

        fn hear(&mut self) -> std::io::Result<Heard> {
            loop {
                let mut input = self.unread.as_slice();
                let heard =
                    self.decoder.next::<FromReceiver>(&mut input).map(|message| match message {
                        Err(_) => Heard::Damaged,
                        Ok(FromReceiver::Hello(hello)) => {
                            Heard::Hello { serial: hello.serial_number.into(), axes: hello.axes }
                        }
                        Ok(FromReceiver::Samples(samples)) => Heard::Samples {
                            first_index: samples.first_index,
                            gain_step: samples.gain_step,
                            iq: samples.iq.to_vec(),
                        },
                        Ok(FromReceiver::Status(status)) => {
                            Heard::Status { dropped: status.dropped_samples }
                        }
                        Ok(FromReceiver::Answer(answer)) => match answer.refused {
                            None => Heard::Done(answer.command),
                            Some(_) => Heard::Refused(answer.command),
                        },
                    });
                self.unread = input.to_vec();
                if let Some(heard) = heard {
                    return Ok(heard);
                }
                let mut buffer = [0; 4096];
                let length = self.port.read(&mut buffer)?;
                if length == 0 {
                    return Err(std::io::ErrorKind::UnexpectedEof.into());
                }
                self.unread.extend_from_slice(&buffer[..length]);
            }
        }

        /// The next `n` samples packets: first index and samples.
        fn packets(&mut self, n: usize) -> Vec<(u64, Vec<u8>)> {
            let mut packets = Vec::new();
            while packets.len() < n {
                if let Heard::Samples { first_index, iq, .. } = self.hear().unwrap() {
                    packets.push((first_index, iq));
                }
            }
            packets
        }

        /// Everything up to the answer to `command`.
        fn ask(&mut self, command: FromHost) -> Vec<Heard> {
            self.say(command);
            let mut heard = Vec::new();
            loop {
                let next = self.hear().unwrap();
                let answered = matches!(next, Heard::Hello { .. })
                    || next == Heard::Done(command)
                    || next == Heard::Refused(command);
                heard.push(next);
                if answered {
                    return heard;
                }
            }
        }
    }

    fn scenario(more: &str) -> Scenario {
        toml::from_str(&format!(
            "{more}\n[[unit]]\nname = \"hut\"\nposition_m = [0, 5, -1]\n\
             moment_a_m2 = [0.003, 0, 0]\nfirst_pulse_s = 0.02"
        ))
        .unwrap()
    }

    fn full_pace(scenario: &Scenario) -> EmulatorHandle {
        spawn(scenario, Options { pace: Pace::Full, ..Options::default() }).unwrap()
    }

    #[test]
    fn it_answers_and_streams_like_a_receiver() {
        let emulator = full_pace(&scenario(""));
        let mut host = Host::connect(emulator.device());
        let hello = Heard::Hello { serial: "EMU-0001".into(), axes: 3 };
        assert_eq!(host.ask(FromHost::Identify), [hello]);
        assert_eq!(host.ask(FromHost::SetGain(1)), [Heard::Done(FromHost::SetGain(1))]);
        assert_eq!(host.ask(FromHost::SetGain(7)), [Heard::Refused(FromHost::SetGain(7))]);
        assert_eq!(host.ask(FromHost::Start), [Heard::Done(FromHost::Start)]);

        let mut expected = 0;
        let mut statuses = 0;
        while expected < 16_000 {
            match host.hear().unwrap() {
                Heard::Samples { first_index, gain_step, iq } => {
                    assert_eq!((first_index, gain_step, iq.len()), (expected, 1, 160 * 12));
                    expected += 160;
                }
                Heard::Status { dropped } => {
                    assert_eq!(dropped, 0);
                    statuses += 1;
                }
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(statuses, 2);
        host.ask(FromHost::Stop);
        // Nothing after the answer to stop but the answer to the next.
        assert!(matches!(host.ask(FromHost::Identify)[..], [Heard::Hello { .. }]));
        emulator.shutdown().unwrap();
    }

    #[test]
    fn what_is_streamed_follows_from_the_scenario_and_the_commands() {
        let record = || {
            let emulator = full_pace(&scenario(""));
            let mut host = Host::connect(emulator.device());
            host.ask(FromHost::Start);
            let mut packets = host.packets(30);
            let rest = host.ask(FromHost::Stop).len();
            packets.truncate(30);
            (packets, rest)
        };
        assert!(record().0 == record().0);
    }

    #[test]
    fn the_receiver_can_be_carried_about_between_recordings() {
        let emulator = full_pace(&scenario("receiver.noise_a_per_m_rthz = 0"));
        let mut host = Host::connect(emulator.device());
        let mut strongest = || {
            host.ask(FromHost::Start);
            let packets = host.packets(60);
            host.ask(FromHost::Stop);
            let bytes = packets.iter().flat_map(|(_, iq)| iq.chunks_exact(2));
            bytes.map(|b| i16::from_le_bytes([b[0], b[1]]).unsigned_abs()).max().unwrap()
        };
        let far = strongest();
        emulator.place([0.0, 5.0, 0.5]).unwrap();
        let near = strongest();
        assert!(near > 10 * far, "{near} {far}");
        emulator.switch("hut", false).unwrap();
        assert_eq!(strongest(), 0);
        assert!(emulator.switch("barn", true).is_err());
        assert!(emulator.place([0.0, 5.0, -1.0]).is_err());
    }

    #[test]
    fn a_port_that_vanishes_comes_back_under_the_same_name() {
        let vanishing = scenario("faults.vanish = [{ at_s = 0.5, for_s = 0.05 }]");
        let emulator = full_pace(&vanishing);
        let mut host = Host::connect(emulator.device());
        host.ask(FromHost::Start);
        while host.hear().is_ok() {}
        drop(host);

        while !emulator.device().exists() {
            std::thread::sleep(Duration::from_millis(5));
        }
        let mut host = Host::connect(emulator.device());
        assert!(matches!(host.ask(FromHost::Identify)[..], [Heard::Hello { .. }]));
        host.ask(FromHost::Start);
        assert_eq!(host.packets(1)[0].0, 0);
        let device = emulator.device().to_owned();
        emulator.shutdown().unwrap();
        assert!(!device.is_symlink());
    }

    #[test]
    fn faults_leave_gaps_that_the_index_tells() {
        let faulty = scenario(
            "faults = { lost_packets = 0.1, cut_packets = 0.1, corrupt_packets = 0.1, \
             stall = [{ at_s = 1.0, for_s = 0.5 }] }",
        );
        let emulator = full_pace(&faulty);
        let mut host = Host::connect(emulator.device());
        host.ask(FromHost::Start);
        let (mut sound, mut damaged, mut longest_gap, mut next) = (0, 0, 0, 0);
        while next < 8000 * 6 {
            match host.hear().unwrap() {
                Heard::Samples { first_index, .. } => {
                    longest_gap = longest_gap.max(first_index - next);
                    next = first_index + 160;
                    sound += 1;
                }
                Heard::Damaged => damaged += 1,
                _ => {}
            }
        }
        // 275 packets sent, of which 73 % arrive sound.
        assert!((150..250).contains(&sound), "{sound}");
        assert!((20..90).contains(&damaged), "{damaged}");
        assert!((4000..4000 + 160 * 8).contains(&longest_gap), "{longest_gap}");
    }

    #[test]
    fn real_time_runs_on_while_nobody_listens() {
        let heard = std::sync::Arc::new(std::sync::Mutex::new(Vec::new()));
        let told = heard.clone();
        let options = Options {
            watcher: Some(Box::new(move |event| told.lock().unwrap().push(event))),
            ..Options::default()
        };
        let emulator = spawn(&scenario(""), options).unwrap();
        let began = std::time::Instant::now();
        let mut host = Host::connect(emulator.device());
        std::thread::sleep(Duration::from_millis(100));
        host.ask(FromHost::Start);
        host.packets(5);
        // Five packets of 20 ms cannot be there sooner.
        assert!(began.elapsed() >= Duration::from_millis(200));
        host.ask(FromHost::Stop);
        emulator.shutdown().unwrap();
        let events = heard.lock().unwrap();
        assert_eq!(events[0].happening, super::super::Happening::Started);
        assert!(events[0].time_s > 0.09, "{}", events[0].time_s);
    }
}
