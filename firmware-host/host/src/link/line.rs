//! Packets on an open port.

use std::collections::VecDeque;
use std::io;

use coilrig_wire::{Decoder, Error, FromHost, FromReceiver, MAX_PACKET_BYTES, encode};
use jiff::Timestamp;
use num_complex::Complex;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio_serial::SerialStream;

use super::Status;
use super::identify::Receiver;

/// Bytes read at once: 80 ms of three axes.
const READ_BYTES: usize = 8192;

/// A message from the receiver that owns its content.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Packet {
    Hello(Receiver),
    Samples(RawSamples),
    Status(Status),
    Answer {
        command: FromHost,
        refused: Option<String>,
    },
    /// A hello in a format of the future.
    FutureVersion(u16),
}

/// A samples packet, in the receiver's own count.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RawSamples {
    pub sequence: u32,
    pub first_index: u64,
    pub gain_step: u8,
    pub overload: bool,
    pub samples: Vec<Complex<i16>>,
    pub received_at: Timestamp,
}

/// An open port, packets in both directions.
pub(super) struct Line {
    port: SerialStream,
    decoder: Decoder<MAX_PACKET_BYTES>,
    /// Packets that arrived and were not asked for yet.
    arrived: VecDeque<Packet>,
    bytes: u64,
    packets: u64,
    /// Frames thrown away before the count began.
    corrupt_before: u64,
}

impl Line {
    pub(super) fn new(port: SerialStream) -> Self {
        Self {
            port,
            decoder: Decoder::new(),
            arrived: VecDeque::new(),
            bytes: 0,
            packets: 0,
            corrupt_before: 0,
        }
    }

    /// Bytes received so far, whatever they were.
    pub(super) fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Sound packets received so far.
    pub(super) fn packets(&self) -> u64 {
        self.packets
    }

    /// Frames thrown away since [`Self::forget`].
    pub(super) fn corrupt_frames(&self) -> u64 {
        self.decoder.discarded().frames - self.corrupt_before
    }

    /// The next packet. An error means that the port is gone. May be dropped
    /// while it waits; nothing is lost by that.
    pub(super) async fn receive(&mut self) -> io::Result<Packet> {
        loop {
            if let Some(packet) = self.arrived.pop_front() {
                return Ok(packet);
            }
            self.read().await?;
        }
    }

    /// Wait for bytes and take the packets out of them.
    async fn read(&mut self) -> io::Result<()> {
        let mut buffer = [0; READ_BYTES];
        let count = self.port.read(&mut buffer).await?;
        if count == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        let received_at = Timestamp::now();
        self.bytes += count as u64;
        let mut input = &buffer[..count];
        while let Some(result) = self.decoder.next::<FromReceiver>(&mut input) {
            let packet = match result {
                Ok(message) => owned(message, received_at),
                Err(Error::FutureVersion(version)) => Packet::FutureVersion(version),
                Err(_) => continue,
            };
            self.packets += 1;
            self.arrived.push_back(packet);
        }
        Ok(())
    }

    /// Send a command. A delimiter goes first, to end whatever noise stood on
    /// the line.
    pub(super) async fn send(&mut self, command: FromHost) -> io::Result<()> {
        let mut buffer = [0; MAX_PACKET_BYTES];
        let packet = encode(&command, &mut buffer[1..]).map_err(io::Error::other)?;
        let length = 1 + packet.len();
        self.port.write_all(&buffer[..length]).await
    }

    /// Drop what arrived and was not asked for, and begin the counts anew.
    pub(super) fn forget(&mut self) {
        self.arrived.clear();
        self.corrupt_before = self.decoder.discarded().frames;
    }

    /// Put packets back that came while something else was waited for.
    pub(super) fn put_back(&mut self, packets: VecDeque<Packet>) {
        for packet in packets.into_iter().rev() {
            self.arrived.push_front(packet);
        }
    }
}

fn owned(message: FromReceiver, received_at: Timestamp) -> Packet {
    match message {
        FromReceiver::Hello(hello) => Packet::Hello(hello.into()),
        FromReceiver::Samples(samples) => Packet::Samples(RawSamples {
            sequence: samples.sequence,
            first_index: samples.first_index,
            gain_step: samples.gain_step,
            overload: samples.overload,
            samples: samples.iq.chunks_exact(4).map(complex).collect(),
            received_at,
        }),
        FromReceiver::Status(status) => Packet::Status(Status {
            temperature_c: status.temperature_c,
            supply_v: status.supply_v,
            dropped_samples: status.dropped_samples,
        }),
        FromReceiver::Answer(answer) => {
            Packet::Answer { command: answer.command, refused: answer.refused.map(Into::into) }
        }
    }
}

fn complex(iq: &[u8]) -> Complex<i16> {
    Complex::new(i16::from_le_bytes([iq[0], iq[1]]), i16::from_le_bytes([iq[2], iq[3]]))
}
