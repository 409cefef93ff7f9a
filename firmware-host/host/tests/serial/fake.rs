//! A small receiver on a pseudo-terminal, and things that go wrong with it.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver as Inbox, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use coilrig_receiver::{Axes, DECIMATION, Identity, PACKET_SAMPLES, Receiver};
use coilrig_wire::{Decoder, FromHost, FromReceiver, MAX_PACKET_BYTES, encode};
use num_complex::Complex;
use serialport::{SerialPort, TTYPort};

/// Serial number of the fake receiver.
pub const SERIAL: &str = "CR-TEST";
/// Gains of its steps.
pub const GAINS_DB: [f32; 2] = [0.0, 20.0];
/// A packet of 20 ms is sent this often: five times as fast as it should.
const PACE: Duration = Duration::from_millis(4);
/// A host that has read nothing for so long has stopped reading.
const PATIENCE: Duration = Duration::from_millis(500);

/// Something to happen to the receiver.
pub enum Order {
    /// The port goes away; the receiver streams on into nothing.
    Vanish,
    /// The port comes back, as another device behind the same path.
    Return,
    /// The receiver is switched off and on.
    Reboot,
    /// It has another serial number from here on.
    Become(&'static str),
    /// It sends nothing until it is told to start.
    Stall,
    /// It does not hear commands.
    Deafen,
}

/// What becomes of the samples packet of that sequence number on the cable.
pub type Cable = fn(u32, Vec<u8>) -> Vec<u8>;

/// A running fake receiver. Dropping it ends it.
pub struct Fake {
    folder: tempfile::TempDir,
    orders: Option<Sender<Order>>,
    thread: Option<JoinHandle<()>>,
}

impl Fake {
    /// A receiver of three axes on a sound cable.
    pub fn new() -> Self {
        Self::on_cable(Axes::Three, |_, packet| packet)
    }

    pub fn on_cable(axes: Axes, cable: Cable) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("port");
        let (orders, inbox) = channel();
        let mut device = Device::new(axes, cable, path);
        device.plug_in();
        let thread = std::thread::spawn(move || device.run(&inbox));
        Self { folder, orders: Some(orders), thread: Some(thread) }
    }

    pub fn path(&self) -> PathBuf {
        self.folder.path().join("port")
    }

    pub fn order(&self, order: Order) {
        self.orders.as_ref().unwrap().send(order).unwrap();
    }
}

impl Drop for Fake {
    fn drop(&mut self) {
        drop(self.orders.take());
        self.thread.take().unwrap().join().unwrap();
    }
}

/// What the ADC reads in frame `frame` after the start: noise of a known kind.
fn adc(frame: u64) -> [i16; 3] {
    let word = frame.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    [16, 32, 48].map(|shift| ((word >> shift) as i16) / 2)
}

/// The samples of packets 0 to `packets` of a stream, interleaved by axis.
pub fn expected(axes: Axes, packets: usize) -> Vec<Complex<i16>> {
    let mut receiver = receiver(axes, SERIAL);
    receiver.command(FromHost::Start);
    let mut samples = Vec::new();
    for frame in 0..(packets * PACKET_SAMPLES * DECIMATION) as u64 {
        if let Some(FromReceiver::Samples(packet)) = receiver.push(adc(frame)) {
            samples.extend(packet.iq.chunks_exact(4).map(|iq| {
                let part = |at: usize| i16::from_le_bytes([iq[at], iq[at + 1]]);
                Complex::new(part(0), part(2))
            }));
        }
    }
    samples
}

fn receiver(axes: Axes, serial: &str) -> Receiver {
    Receiver::new(Identity::new(serial, axes, &GAINS_DB).unwrap())
}

struct Device {
    axes: Axes,
    serial: &'static str,
    receiver: Receiver,
    frame: u64,
    is_stalled: bool,
    is_deaf: bool,
    cable: Cable,
    path: PathBuf,
    /// The near end, and the far end held open so that it outlives the host.
    port: Option<(TTYPort, TTYPort)>,
    decoder: Decoder<64>,
}

impl Device {
    fn new(axes: Axes, cable: Cable, path: PathBuf) -> Self {
        Self {
            axes,
            serial: SERIAL,
            receiver: receiver(axes, SERIAL),
            frame: 0,
            is_stalled: false,
            is_deaf: false,
            cable,
            path,
            port: None,
            decoder: Decoder::new(),
        }
    }

    fn plug_in(&mut self) {
        let (mut near, far) = pair(&self.path);
        near.set_timeout(PACE).unwrap();
        self.port = Some((near, far));
    }

    fn run(&mut self, inbox: &Inbox<Order>) {
        let mut due = Instant::now();
        loop {
            match inbox.try_recv() {
                Ok(order) => self.obey(order),
                Err(std::sync::mpsc::TryRecvError::Empty) => {}
                Err(std::sync::mpsc::TryRecvError::Disconnected) => return,
            }
            self.listen();
            if Instant::now() >= due {
                due += PACE;
                self.stream();
            }
        }
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Vanish => {
                self.port = None;
                std::fs::remove_file(&self.path).unwrap();
            }
            Order::Return => self.plug_in(),
            Order::Reboot => {
                self.receiver = receiver(self.axes, self.serial);
                self.decoder.reset();
            }
            Order::Become(serial) => {
                self.serial = serial;
                self.receiver = receiver(self.axes, serial);
            }
            Order::Stall => self.is_stalled = true,
            Order::Deafen => self.is_deaf = true,
        }
    }

    /// Read commands for at most the time between two packets.
    fn listen(&mut self) {
        let Some((near, _)) = &mut self.port else {
            std::thread::sleep(PACE / 4);
            return;
        };
        let mut buffer = [0; 64];
        let count = near.read(&mut buffer).unwrap_or(0);
        if self.is_deaf {
            return;
        }
        let mut input = &buffer[..count];
        let mut commands = Vec::new();
        while let Some(command) = self.decoder.next::<FromHost>(&mut input) {
            commands.extend(command.ok());
        }
        for command in commands {
            if command == FromHost::Start {
                self.is_stalled = false;
                if !self.receiver.is_streaming() {
                    self.frame = 0;
                }
            }
            let reply = self.receiver.command(command);
            let mut bytes = reply.before.map_or(Vec::new(), |message| packet(&message));
            bytes.extend(packet(&reply.answer));
            self.send(&bytes);
        }
    }

    /// Take the ADC frames of one packet.
    fn stream(&mut self) {
        if !self.receiver.is_streaming() {
            return;
        }
        let mut bytes = Vec::new();
        for _ in 0..PACKET_SAMPLES * DECIMATION {
            match self.receiver.push(adc(self.frame)) {
                Some(FromReceiver::Samples(samples)) => {
                    let sequence = samples.sequence;
                    let sound = packet(&FromReceiver::Samples(samples));
                    bytes.extend((self.cable)(sequence, sound));
                }
                Some(message) => bytes.extend(packet(&message)),
                None => {}
            }
            self.frame += 1;
        }
        if !self.is_stalled {
            self.send(&bytes);
        }
    }

    /// Write to the cable, as fast as the host reads. One that has stopped
    /// reading loses what it does not read.
    fn send(&mut self, mut bytes: &[u8]) {
        let Some((near, _)) = &mut self.port else { return };
        let mut give_up = Instant::now() + PATIENCE;
        while !bytes.is_empty() && Instant::now() < give_up {
            if let Ok(count) = near.write(bytes) {
                bytes = &bytes[count..];
                give_up = Instant::now() + PATIENCE;
            }
        }
    }
}

fn packet(message: &FromReceiver) -> Vec<u8> {
    let mut buffer = [0; MAX_PACKET_BYTES];
    encode(message, &mut buffer).unwrap().to_vec()
}

/// A pseudo-terminal whose far end is found at `path`.
pub fn pair(path: &Path) -> (TTYPort, TTYPort) {
    let (near, far) = TTYPort::pair().unwrap();
    std::os::unix::fs::symlink(far.name().unwrap(), path).unwrap();
    (near, far)
}

/// A device at the far end of a pseudo-terminal that answers everything with
/// `answer`, until it is dropped.
pub struct OtherDevice {
    folder: tempfile::TempDir,
    end: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl OtherDevice {
    pub fn answering(answer: &'static [u8]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (mut near, far) = pair(&folder.path().join("port"));
        near.set_timeout(Duration::from_millis(10)).unwrap();
        let (end, ended) = channel::<()>();
        let thread = std::thread::spawn(move || {
            let _far = far;
            while ended.try_recv() != Err(std::sync::mpsc::TryRecvError::Disconnected) {
                if near.read(&mut [0; 64]).is_ok_and(|count| count > 0) {
                    near.write_all(answer).unwrap();
                }
            }
        });
        Self { folder, end: Some(end), thread: Some(thread) }
    }

    pub fn path(&self) -> PathBuf {
        self.folder.path().join("port")
    }
}

impl Drop for OtherDevice {
    fn drop(&mut self) {
        drop(self.end.take());
        self.thread.take().unwrap().join().unwrap();
    }
}

/// A hello of format version 300: message AC 02 behind the 00 of a hello, then
/// what this version knows nothing of. The CRC-32 was computed with zlib.
pub const HELLO_OF_THE_FUTURE: &[u8] =
    &[0x01, 0x0C, 0xAC, 0x02, 0x6F, 0x74, 0x68, 0x65, 0x72, 0x45, 0x05, 0x9B, 0xB7, 0x00];
