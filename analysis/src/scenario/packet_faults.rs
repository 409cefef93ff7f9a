//! Damage to packets on their way to the host.

use rand_chacha::ChaCha8Rng;

use super::Scenario;
use super::keying::uniform;
use super::scene::{FAULTS_STREAM, random};

/// Loses, cuts and corrupts packets as a scenario's faults say. Which ones
/// follows from the seed and the number of packets before.
#[derive(Clone, Debug)]
pub struct PacketFaults {
    lost: f64,
    cut: f64,
    corrupt: f64,
    rng: ChaCha8Rng,
}

impl PacketFaults {
    /// The packet faults of `scenario`.
    pub fn new(scenario: &Scenario) -> Self {
        Self {
            lost: scenario.faults.lost_packets,
            cut: scenario.faults.cut_packets,
            corrupt: scenario.faults.corrupt_packets,
            rng: random(scenario.seed, FAULTS_STREAM),
        }
    }

    /// What is left of the next packet. Its last byte, the delimiter, stays,
    /// so that damage costs no other packet: a cut takes bytes from before it,
    /// corruption flips one bit elsewhere, loss takes everything.
    pub fn damage(&mut self, packet: &mut Vec<u8>) {
        if self.strikes(self.lost) {
            packet.clear();
        }
        if packet.len() > 1 && self.strikes(self.cut) {
            let body = packet.len() - 1;
            packet.drain(self.below(body)..body);
        }
        if packet.len() > 1 && self.strikes(self.corrupt) {
            let place = self.below(packet.len() - 1);
            packet[place] ^= 1 << self.below(8);
        }
    }

    fn strikes(&mut self, probability: f64) -> bool {
        probability > 0.0 && uniform(&mut self.rng) < probability
    }

    fn below(&mut self, n: usize) -> usize {
        (uniform(&mut self.rng) * n as f64) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn damaged(faults: &str) -> Vec<Vec<u8>> {
        let scenario: Scenario = toml::from_str(&format!("[faults]\n{faults}")).unwrap();
        let mut faults = PacketFaults::new(&scenario);
        let packet: Vec<u8> = (1..100).chain([0]).collect();
        (0..1000)
            .map(|_| {
                let mut packet = packet.clone();
                faults.damage(&mut packet);
                packet
            })
            .collect()
    }

    fn count(packets: &[Vec<u8>], is: impl Fn(&[u8]) -> bool) -> usize {
        packets.iter().filter(|packet| is(packet)).count()
    }

    #[test]
    fn faults_strike_at_their_rate() {
        // 100 of 1000 expected, standard deviation 9.5; five of them.
        let struck = 52..148;
        assert!(struck.contains(&count(&damaged("lost_packets = 0.1"), |p| p.is_empty())));
        assert!(struck.contains(&count(&damaged("cut_packets = 0.1"), |p| p.len() < 100)));
        let whole: Vec<u8> = (1..100).chain([0]).collect();
        assert!(struck.contains(&count(&damaged("corrupt_packets = 0.1"), |p| p != whole)));
        assert_eq!(count(&damaged(""), |p| p != whole), 0);
    }

    #[test]
    fn the_delimiter_outlives_cuts_and_corruption() {
        for packet in damaged("cut_packets = 1\ncorrupt_packets = 1") {
            assert_eq!(packet.last(), Some(&0));
        }
    }
}
