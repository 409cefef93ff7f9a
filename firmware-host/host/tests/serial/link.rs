//! The link against a fake receiver.

use std::time::Duration;

use coilrig::error::{Error, Kind};
use coilrig::link::{Cause, Event, Gap, Health, Link};
use coilrig_receiver::{Axes, PACKET_SAMPLES};
use num_complex::Complex;

use crate::fake::{
    Fake, GAINS_DB, HELLO_OF_THE_FUTURE, Order, OtherDevice, SERIAL, expected, pair,
};

const PACKET: u64 = PACKET_SAMPLES as u64;

fn run<T>(job: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let limited = async { tokio::time::timeout(Duration::from_secs(60), job).await };
    runtime.block_on(limited).expect("done within a minute")
}

/// What came of a stream.
#[derive(Default)]
struct Heard {
    /// First index and samples of each stretch.
    stretches: Vec<(u64, Vec<Complex<i16>>)>,
    gaps: Vec<Gap>,
    /// Everything else, by name.
    others: Vec<&'static str>,
}

impl Heard {
    fn take(&mut self, event: Event) {
        match event {
            Event::Samples(samples) => self.stretches.push((samples.first_index, samples.samples)),
            Event::Gap(gap) => self.gaps.push(gap),
            Event::Status(_) => {}
            Event::Stalled => self.others.push("stalled"),
            Event::Lost(_) => self.others.push("lost"),
            Event::Back => self.others.push("back"),
        }
    }

    /// Index after the last sample.
    fn end(&self, axes: usize) -> u64 {
        self.stretches.last().map_or(0, |(first, s)| first + (s.len() / axes) as u64)
    }

    /// Every stretch and every gap follows the one before, and nothing but what
    /// the receiver sent was heard.
    fn check(&self, axes: Axes) {
        let count = axes.count();
        let truth = expected(axes, (self.end(count) / PACKET) as usize);
        let mut gaps = self.gaps.iter();
        let mut due = 0;
        for (first, samples) in &self.stretches {
            if *first != due {
                let gap = gaps.next().expect("a gap is told");
                assert_eq!((gap.from_index, gap.from_index + gap.missing), (due, *first));
            }
            let start = *first as usize * count;
            assert!(samples[..] == truth[start..start + samples.len()], "sample {first} on");
            due = first + (samples.len() / count) as u64;
        }
        assert_eq!(gaps.next(), None);
    }
}

async fn opened(fake: &Fake) -> Link {
    Link::open(&fake.path()).await.unwrap()
}

/// Listen until sample `end` has come.
async fn listen(link: &mut Link, heard: &mut Heard, axes: Axes, end: u64) {
    while heard.end(axes.count()) < end {
        heard.take(link.next().await.unwrap());
    }
}

#[test]
fn a_sound_cable_loses_nothing() {
    for axes in [Axes::One, Axes::Three] {
        let fake = Fake::on_cable(axes, |_, packet| packet);
        run(async {
            let mut link = opened(&fake).await;
            let receiver = link.receiver();
            assert_eq!(receiver.serial_number, SERIAL);
            assert_eq!(usize::from(receiver.axes), axes.count());
            assert_eq!(receiver.gain_steps_db, GAINS_DB);
            assert_eq!((receiver.sample_rate_hz, receiver.tuned_hz), (8000, 457_000));
            link.start().await.unwrap();
            let mut heard = Heard::default();
            listen(&mut link, &mut heard, axes, 100 * PACKET).await;
            heard.check(axes);
            assert!(heard.gaps.is_empty());
            let health = link.health();
            assert!(health.packets >= 100);
            assert_eq!(Health { packets: 0, ..health }, Health::default());
        });
    }
}

#[test]
fn a_stream_can_be_stopped_and_begun_anew() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        for _ in 0..3 {
            link.start().await.unwrap();
            let mut heard = Heard::default();
            listen(&mut link, &mut heard, Axes::Three, 10 * PACKET).await;
            heard.check(Axes::Three);
            assert!(heard.gaps.is_empty(), "nothing is left of the stream before");
            link.stop().await;
        }
    });
}

#[test]
fn a_receiver_left_streaming_is_started_anew() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        listen(&mut link, &mut Heard::default(), Axes::Three, 10 * PACKET).await;
        drop(link);
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        let mut heard = Heard::default();
        listen(&mut link, &mut heard, Axes::Three, 10 * PACKET).await;
        heard.check(Axes::Three);
        assert!(heard.gaps.is_empty());
    });
}

#[test]
fn lost_cut_and_corrupt_packets_cost_themselves_only() {
    fn bad(sequence: u32, mut packet: Vec<u8>) -> Vec<u8> {
        match sequence {
            10 | 11 => Vec::new(),
            // Cut at the front: its delimiter still stands.
            20 => packet.split_off(700),
            30 => {
                packet[400] ^= 0x10;
                packet
            }
            40 => [&[1, 2, 0, 3, 0, 0, 9, 9, 0][..], &packet[..]].concat(),
            _ => packet,
        }
    }
    let fake = Fake::on_cable(Axes::Three, bad);
    run(async {
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        let mut heard = Heard::default();
        listen(&mut link, &mut heard, Axes::Three, 60 * PACKET).await;
        heard.check(Axes::Three);
        let gap = |packet: u64, packets: u64| Gap {
            from_index: packet * PACKET,
            missing: packets * PACKET,
            cause: Cause::Cable,
        };
        assert_eq!(heard.gaps, [gap(10, 2), gap(20, 1), gap(30, 1)]);
        let health = link.health();
        assert_eq!((health.gaps, health.samples_lost), (3, 4 * PACKET));
        // One cut, one corrupt, three bits of noise.
        assert_eq!(health.corrupt_frames, 5);
    });
}

#[test]
fn a_port_that_comes_back_costs_what_was_sent_meanwhile() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        let mut heard = Heard::default();
        listen(&mut link, &mut heard, Axes::Three, 10 * PACKET).await;
        fake.order(Order::Vanish);
        while heard.others.is_empty() {
            heard.take(link.next().await.unwrap());
        }
        fake.order(Order::Return);
        let end = heard.end(3) + 60 * PACKET;
        listen(&mut link, &mut heard, Axes::Three, end).await;
        heard.check(Axes::Three);
        assert_eq!(heard.others, ["lost", "back"]);
        // What the terminal buffered before it was opened arrives too, so there
        // may be a second gap behind it.
        assert!(!heard.gaps.is_empty());
        assert!(heard.gaps.iter().all(|gap| gap.cause == Cause::Cable));
        assert_eq!(link.health().reconnects, 1);
    });
}

#[test]
fn waiting_for_the_next_event_may_be_broken_off_at_any_time() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        let mut heard = Heard::default();
        let mut is_back = false;
        while heard.end(3) < 100 * PACKET || !is_back {
            let wait = Duration::from_micros(700);
            if let Ok(event) = tokio::time::timeout(wait, link.next()).await {
                heard.take(event.unwrap());
            }
            if heard.end(3) >= 20 * PACKET && heard.others.is_empty() {
                fake.order(Order::Vanish);
                while heard.others.is_empty() {
                    heard.take(link.next().await.unwrap());
                }
                fake.order(Order::Return);
            }
            is_back = heard.others.len() == 2;
        }
        heard.check(Axes::Three);
        assert_eq!(heard.others, ["lost", "back"]);
    });
}

#[test]
fn a_receiver_that_restarted_goes_on_behind_an_estimated_gap() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        link.set_gain(1).await.unwrap();
        link.start().await.unwrap();
        let mut heard = Heard::default();
        listen(&mut link, &mut heard, Axes::Three, 20 * PACKET).await;
        fake.order(Order::Vanish);
        fake.order(Order::Reboot);
        fake.order(Order::Return);
        let (first, gain_step) = loop {
            match link.next().await.unwrap() {
                Event::Samples(s) if !heard.gaps.is_empty() => break (s.first_index, s.gain_step),
                event => heard.take(event),
            }
        };
        assert_eq!(heard.others, ["lost", "back"]);
        let gap = heard.gaps[0];
        assert_eq!(gap.cause, Cause::Restart);
        assert_eq!(gap.from_index, heard.end(3));
        assert_eq!(first, gap.from_index + gap.missing, "the count goes on");
        assert_eq!(gain_step, 1, "the gain was set again");
    });
}

#[test]
fn another_receiver_does_not_take_over_a_stream() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        listen(&mut link, &mut Heard::default(), Axes::Three, 5 * PACKET).await;
        fake.order(Order::Vanish);
        fake.order(Order::Become("CR-OTHER"));
        fake.order(Order::Return);
        let error = loop {
            if let Err(error) = link.next().await {
                break error;
            }
        };
        assert_eq!(error.kind(), Kind::Receiver);
        let text = error.to_string();
        assert!(text.contains("CR-OTHER answers where CR-TEST was"), "{text}");
    });
}

#[test]
fn a_stalled_stream_is_told_and_started_again() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        let mut heard = Heard::default();
        listen(&mut link, &mut heard, Axes::Three, 5 * PACKET).await;
        fake.order(Order::Stall);
        while heard.others.is_empty() {
            heard.take(link.next().await.unwrap());
        }
        let end = heard.end(3) + PACKET;
        listen(&mut link, &mut heard, Axes::Three, end).await;
        heard.check(Axes::Three);
        assert_eq!(heard.others, ["stalled"]);
        assert_eq!(link.health().stalls, 1);
    });
}

#[test]
fn a_gain_step_it_does_not_have_is_a_usage_error() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        let error = link.set_gain(2).await.unwrap_err();
        assert_eq!(error.kind(), Kind::Usage);
        assert!(error.to_string().contains("steps 0 to 1"), "{error}");
    });
}

fn refused(path: &std::path::Path, matter: &str) -> Error {
    let error = run(Link::open(path)).err().expect("no receiver there");
    let text = error.to_string();
    assert_eq!(error.kind(), Kind::Receiver);
    assert!(text.starts_with(&path.display().to_string()), "{text}");
    assert!(text.contains(matter) && text.contains("to do:"), "{text}");
    error
}

#[test]
fn what_is_no_receiver_is_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    refused(&folder.path().join("none"), "coilrig ports");

    let file = folder.path().join("file");
    std::fs::write(&file, "no port").unwrap();
    refused(&file, "cannot open");

    let silent = folder.path().join("silent");
    let _held = pair(&silent);
    refused(&silent, "nothing answers like a coilrig receiver: the port is silent");

    let other = OtherDevice::answering(b"ERROR unknown command\r\n");
    refused(&other.path(), "bytes came that are no packets");

    let newer = OtherDevice::answering(HELLO_OF_THE_FUTURE);
    let error = refused(&newer.path(), "format version 300");
    assert!(error.to_string().contains("update coilrig"), "{error}");
}

#[test]
fn a_port_in_use_is_left_to_its_user() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        link.start().await.unwrap();
        let error = Link::open(&fake.path()).await.err().expect("in use");
        assert!(error.to_string().contains("another program uses it"), "{error}");
        let mut heard = Heard::default();
        listen(&mut link, &mut heard, Axes::Three, 10 * PACKET).await;
        heard.check(Axes::Three);
    });
}

#[test]
fn a_receiver_that_hears_nothing_is_told() {
    let fake = Fake::new();
    run(async {
        let mut link = opened(&fake).await;
        fake.order(Order::Deafen);
        let error = link.start().await.unwrap_err();
        assert!(error.to_string().contains("does not answer"), "{error}");
    });
}
