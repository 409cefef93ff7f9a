//! Carriers in, samples out: what the crate's documentation states.

use coilrig_receiver::{
    ADC_RATE_HZ, Axes, DECIMATION, GAIN, GROUP_DELAY_S, Identity, PACKET_SAMPLES, Receiver,
    SAMPLE_RATE_HZ, SETTLING_SAMPLES,
};
use coilrig_wire::{FromHost, FromReceiver, MAX_PACKET_BYTES, encode};
use num_complex::Complex64;
use proptest::prelude::*;

/// One samples packet, copied.
#[derive(Debug)]
struct Packet {
    sequence: u32,
    first_index: u64,
    gain_step: u8,
    overload: bool,
    /// One list for each axis.
    samples: Vec<Vec<Complex64>>,
}

fn packet(message: &FromReceiver, axes: usize) -> Option<Packet> {
    let FromReceiver::Samples(samples) = message else { return None };
    let mut by_axis = vec![Vec::new(); axes];
    for (place, iq) in samples.iq.chunks_exact(4).enumerate() {
        let part = |at: usize| f64::from(i16::from_le_bytes([iq[at], iq[at + 1]]));
        by_axis[place % axes].push(Complex64::new(part(0), part(2)));
    }
    Some(Packet {
        sequence: samples.sequence,
        first_index: samples.first_index,
        gain_step: samples.gain_step,
        overload: samples.overload,
        samples: by_axis,
    })
}

fn started(axes: Axes) -> Receiver {
    let identity = Identity::new("CR-0001", axes, &[0.0, 20.0]).unwrap();
    let mut receiver = Receiver::new(identity);
    receiver.command(FromHost::Start);
    receiver
}

/// Feed `frames` ADC frames and gather the packets.
fn run(
    receiver: &mut Receiver,
    frames: std::ops::Range<u64>,
    adc: impl Fn(f64) -> [f64; 3],
) -> Vec<Packet> {
    let axes = receiver.identity().axes().count();
    let mut packets = Vec::new();
    for frame in frames {
        let counts = adc(frame as f64 / f64::from(ADC_RATE_HZ)).map(|v| v.round() as i16);
        packets.extend(receiver.push(counts).and_then(|message| packet(&message, axes)));
    }
    packets
}

fn carrier(peak: f64, hz: f64, phase: f64) -> impl Fn(f64) -> [f64; 3] {
    let at = move |t: f64| peak * (std::f64::consts::TAU * hz * t + phase).cos();
    move |t| [at(t), 0.5 * at(t), 0.25 * at(t)]
}

/// The samples of one axis, the filter's settling left out.
fn settled(packets: &[Packet], axis: usize) -> Vec<Complex64> {
    packets.iter().flat_map(|p| p.samples[axis].clone()).skip(SETTLING_SAMPLES).collect()
}

const ONE_SECOND: std::ops::Range<u64> = 0..ADC_RATE_HZ as u64;

/// Amplitude and phase of the line at `hz` in the samples, one frequency of
/// the DFT over a whole number of its periods.
fn line(samples: &[Complex64], hz: f64) -> Complex64 {
    let rate_hz = f64::from(SAMPLE_RATE_HZ);
    let turn = |n: usize| std::f64::consts::TAU * hz * (n + SETTLING_SAMPLES) as f64 / rate_hz;
    let sum: Complex64 =
        samples.iter().enumerate().map(|(n, x)| x * Complex64::cis(-turn(n))).sum();
    sum / samples.len() as f64
}

#[test]
fn scale_orientation_and_delay_are_as_stated() {
    for offset_hz in [-1000.0, -80.0, 0.0, 80.0, 500.0, 1000.0] {
        let (peak, phase) = (20_000.0, 0.7);
        let mut receiver = started(Axes::Three);
        let packets = run(&mut receiver, ONE_SECOND, carrier(peak, 457_000.0 + offset_hz, phase));
        for (axis, share) in [1.0, 0.5, 0.25].into_iter().enumerate() {
            let samples = &settled(&packets, axis)[..7200];
            let found = line(samples, offset_hz);
            let gain = found.norm() / (share * peak);
            assert!((gain / GAIN - 1.0).abs() < 1e-4, "{offset_hz} Hz: gain {gain}");
            // Sample n ends with frame 24 n + 23; less the delay, its phase is the carrier's.
            let last_frame_s = (DECIMATION - 1) as f64 / f64::from(ADC_RATE_HZ);
            let delay = std::f64::consts::TAU * offset_hz * (last_frame_s - GROUP_DELAY_S);
            let error = (found * Complex64::cis(-(phase + delay))).arg();
            assert!(error.abs() < 3e-4, "{offset_hz} Hz: phase off by {error} rad");
            assert!(line(samples, -offset_hz - 40.0).norm() < 1e-4 * peak, "no image");
        }
    }
}

#[test]
fn what_folds_into_the_band_stays_out() {
    // Whatever the ADC hears at |f| mod 192 kHz shifts by −73 kHz and folds by
    // 8 kHz: an offset (0 Hz) would show at −1 kHz, 81.3 kHz at +300 Hz, and the
    // mirror of the carrier, at −2 kHz, must be as low.
    for (hz, folded_hz) in [(0.0, -1000.0), (81_300.0, 300.0), (64_500.0, -500.0)] {
        let mut receiver = started(Axes::One);
        let samples = settled(&run(&mut receiver, ONE_SECOND, carrier(30_000.0, hz, 0.0)), 0);
        let found = line(&samples[..7200], folded_hz).norm();
        assert!(found < 30_000.0 * 1e-4, "{hz} Hz shows as {found} counts");
    }
    let mut receiver = started(Axes::One);
    let samples = settled(&run(&mut receiver, ONE_SECOND, carrier(30_000.0, 457_000.0, 0.0)), 0);
    let mirror = line(&samples[..7200], -2000.0).norm();
    assert!(mirror < 30_000.0 * 1e-4, "mirror of {mirror} counts");
}

#[test]
fn weak_carriers_keep_their_scale() {
    // A tenth of a count disappears in rounding unless noise, as any antenna
    // gives, carries it across; ten counts must come out right without.
    let mut receiver = started(Axes::One);
    let samples = settled(&run(&mut receiver, ONE_SECOND, carrier(10.0, 457_010.0, 0.1)), 0);
    let found = line(&samples[..7200], 10.0).norm();
    assert!((found - 10.0).abs() < 0.1, "{found}");
}

#[test]
fn packets_are_numbered_full_and_twenty_milliseconds_apart() {
    let mut receiver = started(Axes::Three);
    let frames_a_packet = (PACKET_SAMPLES * DECIMATION) as u64;
    for number in 0..10 {
        let start = number * frames_a_packet;
        let early = run(&mut receiver, start..start + frames_a_packet - 1, |_| [0.0; 3]);
        assert!(early.is_empty());
        let due = run(&mut receiver, 0..1, |_| [0.0; 3]);
        assert_eq!(due.len(), 1, "a packet is complete with its last frame");
        assert_eq!(due[0].sequence, number as u32);
        assert_eq!(due[0].first_index, number * PACKET_SAMPLES as u64);
        assert!(due[0].samples.iter().all(|axis| axis.len() == PACKET_SAMPLES));
        assert!(!due[0].overload);
    }
}

#[test]
fn a_clipped_frame_marks_every_sample_it_takes_part_in() {
    // Clip in the last sample of packet 0: packet 1 holds the filter's tail.
    let clip_s = (PACKET_SAMPLES * DECIMATION - 1) as f64 / f64::from(ADC_RATE_HZ);
    let adc = |t: f64| if t == clip_s { [0.0, 0.0, -32_767.0] } else { [0.0; 3] };
    let mut receiver = started(Axes::Three);
    let flags: Vec<_> = run(&mut receiver, 0..12_000, adc).iter().map(|p| p.overload).collect();
    assert_eq!(flags, [true, true, false]);

    // A receiver of one axis does not look at the others.
    let mut receiver = started(Axes::One);
    assert!(run(&mut receiver, 0..12_000, adc).iter().all(|p| !p.overload));
}

#[test]
fn an_adc_that_clips_early_is_known_by_its_limit() {
    let identity = Identity::new("1", Axes::One, &[0.0]).unwrap().with_clip_counts(2000);
    let mut receiver = Receiver::new(identity);
    receiver.command(FromHost::Start);
    let quiet = run(&mut receiver, 0..4000, carrier(1999.0, 457_000.0, 0.0));
    assert!(quiet.iter().all(|p| !p.overload));
    let loud = run(&mut receiver, 0..4000, carrier(2100.0, 457_000.0, 0.0));
    assert!(loud.iter().all(|p| p.overload));
    let answer = receiver.command(FromHost::Identify).answer;
    assert!(matches!(answer, FromReceiver::Hello(hello) if hello.full_scale_counts == 2000));
}

#[test]
fn an_output_beyond_i16_is_clipped_and_marked() {
    // A square wave at full scale holds a fundamental of 4/π times it, though
    // the ADC stays one count short of its limit.
    let fundamental = carrier(1.0, 457_000.0, 0.0);
    let mut receiver = started(Axes::One);
    let packets = run(&mut receiver, 0..8000, |t| fundamental(t).map(|v| 32_766.0 * v.signum()));
    assert!(packets.iter().all(|p| p.overload));
    let largest = settled(&packets, 0).iter().map(|x| x.re).fold(0.0, f64::max);
    assert_eq!(largest, 32_767.0);
}

#[test]
fn no_packet_mixes_gain_steps() {
    let mut receiver = started(Axes::Three);
    run(&mut receiver, 0..1000, |_| [0.0; 3]);
    let reply = receiver.command(FromHost::SetGain(1));
    let before = packet(&reply.before.unwrap(), 3).unwrap();
    assert_eq!((before.gain_step, before.samples[0].len()), (0, 1000 / DECIMATION));
    assert!(matches!(reply.answer, FromReceiver::Answer(answer) if answer.refused.is_none()));
    assert_eq!(receiver.gain_step(), 1);
    let after = &run(&mut receiver, 0..4000, |_| [0.0; 3])[0];
    assert_eq!((after.gain_step, after.sequence, after.first_index), (1, 1, 41));

    let again = receiver.command(FromHost::SetGain(1));
    assert!(again.before.is_none(), "the step in force cuts nothing");
    let reply = receiver.command(FromHost::SetGain(2));
    assert!(matches!(reply.answer, FromReceiver::Answer(answer) if answer.refused.is_some()));
    assert_eq!(receiver.gain_step(), 1);
}

#[test]
fn a_gap_is_counted_and_the_phase_goes_on_behind_it() {
    let mut receiver = started(Axes::One);
    let adc = carrier(10_000.0, 457_000.0, 0.3);
    run(&mut receiver, 0..6000, &adc);
    let last = packet(&receiver.note_dropped(1000).unwrap(), 1).unwrap();
    assert_eq!(last.first_index + last.samples[0].len() as u64, 6000 / DECIMATION as u64);
    let after = run(&mut receiver, 30_000..60_000, &adc);
    assert_eq!(after[0].first_index, 250 + 1000);
    let phase = line(&settled(&after, 0), 0.0).arg();
    assert!((phase - 0.3).abs() < 1e-4, "{phase}");
}

#[test]
fn status_comes_at_once_then_every_second_and_tells_what_was_noted() {
    let mut receiver = started(Axes::Three);
    receiver.note_housekeeping(-12.5, 4.9);
    let mut statuses = Vec::new();
    for frame in 0..2 * ADC_RATE_HZ + 100 {
        if frame == 100_000 {
            receiver.note_dropped(7);
        }
        if let Some(FromReceiver::Status(status)) = receiver.push([0; 3]) {
            statuses.push(((frame + 1000) / ADC_RATE_HZ, status));
        }
    }
    let seconds: Vec<_> = statuses.iter().map(|(second, _)| *second).collect();
    assert_eq!(seconds, [0, 1, 2]);
    assert_eq!(statuses[0].1.dropped_samples, 0);
    assert_eq!(statuses[2].1.dropped_samples, 7);
    assert_eq!((statuses[0].1.temperature_c, statuses[0].1.supply_v), (-12.5, 4.9));
}

#[test]
fn start_begins_anew_and_a_second_start_changes_nothing() {
    let mut receiver = started(Axes::One);
    run(&mut receiver, 0..5000, |_| [0.0; 3]);
    receiver.command(FromHost::Start);
    assert_eq!(run(&mut receiver, 0..4000, |_| [0.0; 3])[0].first_index, 160);

    let rest = receiver.command(FromHost::Stop).before;
    assert!(rest.is_some(), "what was gathered is not lost");
    assert!(run(&mut receiver, 0..5000, |_| [0.0; 3]).is_empty());
    receiver.command(FromHost::Start);
    let first = &run(&mut receiver, 0..4000, |_| [0.0; 3])[0];
    assert_eq!((first.sequence, first.first_index), (0, 0));
}

#[test]
fn the_longest_hello_fits_into_a_packet() {
    let identity = Identity::new(&"9".repeat(32), Axes::Three, &[-3.5; 16]).unwrap();
    let mut receiver = Receiver::new(identity);
    let hello = receiver.command(FromHost::Identify).answer;
    assert!(encode(&hello, &mut [0; MAX_PACKET_BYTES]).is_ok());
    assert!(Identity::new(&"9".repeat(33), Axes::Three, &[0.0]).is_err());
    assert!(Identity::new("1", Axes::Three, &[]).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    /// Whatever is asked and lost in between, the packets are numbered one by
    /// one, never overlap, and none is empty or too long.
    #[test]
    fn packets_follow_each_other(
        steps in prop::collection::vec((0u8..4, 0u64..9000), 1..12)
    ) {
        let mut receiver = started(Axes::Three);
        let mut packets = Vec::new();
        for (what, much) in steps {
            match what {
                0 => packets.extend(
                    receiver.note_dropped(much).and_then(|message| packet(&message, 3))),
                1 => packets.extend(
                    receiver.command(FromHost::SetGain(much as u8 % 3)).before
                        .and_then(|message| packet(&message, 3))),
                _ => packets.extend(run(&mut receiver, 0..much, carrier(9000.0, 457_000.0, 0.0))),
            }
        }
        let mut next_index = 0;
        for (number, packet) in packets.iter().enumerate() {
            let length = packet.samples[0].len();
            prop_assert!((1..=PACKET_SAMPLES).contains(&length));
            prop_assert_eq!(packet.sequence, number as u32);
            prop_assert!(packet.first_index >= next_index);
            next_index = packet.first_index + length as u64;
        }
    }
}
