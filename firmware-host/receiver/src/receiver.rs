//! ADC frames and commands in, messages out.

use coilrig_wire::{Answer, FromHost, FromReceiver, Samples, Status};

use crate::filter::{DECIMATION, Filter, SETTLING_SAMPLES};
use crate::oscillator::Oscillator;
use crate::{Identity, SAMPLE_RATE_HZ};

/// Samples in a packet, 20 ms of them.
pub const PACKET_SAMPLES: usize = 160;

const BYTES_PER_IQ: usize = 4;
const MAX_PACKET_IQ_BYTES: usize = PACKET_SAMPLES * 3 * BYTES_PER_IQ;

/// The core of a receiver. The platform around it reads the ADC, switches the
/// amplifier to [`Self::gain_step`], and carries messages over the cable:
///
/// ```
/// use coilrig_receiver::{Axes, Identity, Receiver};
/// use coilrig_wire::{FromHost, FromReceiver};
///
/// let identity = Identity::new("CR-0001", Axes::Three, &[0.0, 20.0])?;
/// let mut receiver = Receiver::new(identity);
/// let reply = receiver.command(FromHost::Start);
/// assert!(matches!(reply.answer, FromReceiver::Answer(answer) if answer.refused.is_none()));
///
/// let mut frames = 0;
/// while !matches!(receiver.push([0; 3]), Some(FromReceiver::Samples(_))) {
///     frames += 1;
/// }
/// assert_eq!(frames, 160 * 24 - 1);
/// # Ok::<(), coilrig_receiver::IdentityError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Receiver {
    identity: Identity,
    gain_step: u8,
    temperature_c: f32,
    supply_v: f32,
    is_streaming: bool,

    oscillator: Oscillator,
    filters: [Filter; 3],
    /// ADC frames in the sample in the making.
    frames: usize,
    /// Samples to come that a clipped ADC frame takes part in.
    clipped_samples: usize,

    iq: [u8; MAX_PACKET_IQ_BYTES],
    /// Samples in the packet in the making.
    filled: usize,
    overload: bool,
    sequence: u32,
    /// Index of the next sample.
    index: u64,
    dropped_samples: u64,
    samples_to_status: u32,
}

/// What to send for a command: `before`, when there is one, and then `answer`.
#[derive(Clone, Debug, PartialEq)]
pub struct Reply<'a> {
    /// Samples from before the command took effect.
    pub before: Option<FromReceiver<'a>>,
    /// The answer to the command.
    pub answer: FromReceiver<'a>,
}

impl Receiver {
    /// A receiver at gain step 0 that does not stream.
    pub fn new(identity: Identity) -> Self {
        Self {
            identity,
            gain_step: 0,
            temperature_c: f32::NAN,
            supply_v: f32::NAN,
            is_streaming: false,
            oscillator: Oscillator::default(),
            filters: [Filter::default(); 3],
            frames: 0,
            clipped_samples: 0,
            iq: [0; MAX_PACKET_IQ_BYTES],
            filled: 0,
            overload: false,
            sequence: 0,
            index: 0,
            dropped_samples: 0,
            samples_to_status: 0,
        }
    }

    /// Who the receiver is.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// The step that the amplifier must stand at.
    pub fn gain_step(&self) -> u8 {
        self.gain_step
    }

    /// Whether samples are asked for.
    pub fn is_streaming(&self) -> bool {
        self.is_streaming
    }

    /// What the next status tells of temperature in °C and supply in V; not a
    /// number until the platform has measured them.
    pub fn note_housekeeping(&mut self, temperature_c: f32, supply_v: f32) {
        self.temperature_c = temperature_c;
        self.supply_v = supply_v;
    }

    /// Take one ADC frame, the axes in order x, y, z; a receiver of one axis
    /// looks at the first number only. Gives what is now to be sent.
    pub fn push(&mut self, adc: [i16; 3]) -> Option<FromReceiver<'_>> {
        if !self.is_streaming {
            return None;
        }
        let axes = self.identity.axes().count();
        let clip_counts = self.identity.clip_counts();
        let oscillator = self.oscillator.next();
        for (filter, &counts) in self.filters[..axes].iter_mut().zip(&adc) {
            filter.push(self.frames, counts, oscillator);
            if counts.unsigned_abs() >= clip_counts {
                self.clipped_samples = SETTLING_SAMPLES;
            }
        }
        self.frames += 1;
        if self.frames == DECIMATION {
            self.frames = 0;
            self.finish_sample(axes);
            if self.filled == PACKET_SAMPLES {
                return self.flush();
            }
        }
        self.status_when_due()
    }

    /// Do what the host asks for.
    ///
    /// A gain step takes effect with the next sample: what was gathered at the
    /// old step goes out as a packet of its own. The filter still holds
    /// [`SETTLING_SAMPLES`] of the old gain.
    pub fn command(&mut self, command: FromHost) -> Reply<'_> {
        let mut refused = None;
        let mut ends_packet = false;
        match command {
            FromHost::Identify => {
                let answer = FromReceiver::Hello(self.identity.hello());
                return Reply { before: None, answer };
            }
            FromHost::Start if self.is_streaming => {}
            FromHost::Start => self.start(),
            FromHost::Stop => {
                ends_packet = self.is_streaming;
                self.is_streaming = false;
            }
            FromHost::SetGain(step) if usize::from(step) < self.identity.gain_steps() => {
                ends_packet = step != self.gain_step;
            }
            FromHost::SetGain(_) => refused = Some("this receiver has no such gain step"),
        }
        let gathered = if ends_packet { self.end_packet() } else { None };
        if let (FromHost::SetGain(step), None) = (command, refused) {
            self.gain_step = step;
        }
        Reply {
            before: gathered.map(|packet| FromReceiver::Samples(packet.samples(&self.iq))),
            answer: FromReceiver::Answer(Answer { command, refused }),
        }
    }

    /// The platform lost ADC frames worth `samples` samples. Gives the packet
    /// that ends with the gap; the filter starts from zero after it.
    pub fn note_dropped(&mut self, samples: u64) -> Option<FromReceiver<'_>> {
        if !self.is_streaming || samples == 0 {
            return None;
        }
        let gathered = self.end_packet();
        self.oscillator.skip(samples * DECIMATION as u64);
        self.filters = [Filter::default(); 3];
        self.index += samples;
        self.dropped_samples += samples;
        let passed = u32::try_from(samples).unwrap_or(u32::MAX);
        self.samples_to_status = self.samples_to_status.saturating_sub(passed);
        gathered.map(|packet| FromReceiver::Samples(packet.samples(&self.iq)))
    }

    fn start(&mut self) {
        self.is_streaming = true;
        self.oscillator = Oscillator::default();
        self.filters = [Filter::default(); 3];
        self.frames = 0;
        self.clipped_samples = 0;
        self.filled = 0;
        self.overload = false;
        self.sequence = 0;
        self.index = 0;
        self.dropped_samples = 0;
        self.samples_to_status = 0;
    }

    fn finish_sample(&mut self, axes: usize) {
        let start = self.filled * axes * BYTES_PER_IQ;
        let places = self.iq[start..].chunks_exact_mut(BYTES_PER_IQ);
        for (filter, place) in self.filters[..axes].iter_mut().zip(places) {
            let ([i, q], is_clipped) = filter.finish();
            place[..2].copy_from_slice(&i.to_le_bytes());
            place[2..].copy_from_slice(&q.to_le_bytes());
            self.overload |= is_clipped;
        }
        self.overload |= self.clipped_samples > 0;
        self.clipped_samples = self.clipped_samples.saturating_sub(1);
        self.filled += 1;
        self.index += 1;
        self.samples_to_status = self.samples_to_status.saturating_sub(1);
    }

    fn flush(&mut self) -> Option<FromReceiver<'_>> {
        let gathered = self.end_packet()?;
        Some(FromReceiver::Samples(gathered.samples(&self.iq)))
    }

    /// Close the packet in the making, when there is anything in it.
    fn end_packet(&mut self) -> Option<Gathered> {
        if self.filled == 0 {
            return None;
        }
        let gathered = Gathered {
            sequence: self.sequence,
            first_index: self.index - self.filled as u64,
            gain_step: self.gain_step,
            overload: self.overload,
            iq_bytes: self.filled * self.identity.axes().count() * BYTES_PER_IQ,
        };
        self.sequence = self.sequence.wrapping_add(1);
        self.filled = 0;
        self.overload = false;
        Some(gathered)
    }

    fn status_when_due(&mut self) -> Option<FromReceiver<'_>> {
        if self.samples_to_status > 0 {
            return None;
        }
        self.samples_to_status = SAMPLE_RATE_HZ;
        Some(FromReceiver::Status(Status {
            temperature_c: self.temperature_c,
            supply_v: self.supply_v,
            dropped_samples: self.dropped_samples,
        }))
    }
}

/// A closed packet whose samples still stand in the receiver's buffer.
struct Gathered {
    sequence: u32,
    first_index: u64,
    gain_step: u8,
    overload: bool,
    iq_bytes: usize,
}

impl Gathered {
    fn samples(self, iq: &[u8]) -> Samples<'_> {
        Samples {
            sequence: self.sequence,
            first_index: self.first_index,
            gain_step: self.gain_step,
            overload: self.overload,
            iq: &iq[..self.iq_bytes],
        }
    }
}
