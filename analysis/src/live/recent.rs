//! Field and direction of the last few pulses of each train: what changes as the coil
//! is carried about.

use std::collections::VecDeque;

use nalgebra::{Matrix3, Vector3};
use num_complex::Complex64;
use serde::Serialize;

use crate::reading::Reading;
use crate::signal::{Calibration, Event, Pulse, Unclaimed};

/// Pulses that make one value: few, so that it follows the coil,
const MOST: usize = 6;
/// and none that is older than this when the newest comes, s.
const OLDEST_S: f64 = 8.0;

/// What the last pulses of a unit say.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Now {
    /// RMS magnitude in A/m, in counts without a calibration; its uncertainty is that
    /// of noise and scatter.
    pub field: Reading,
    /// The field along x, y, z up to its sign.
    pub vector: [f64; 3],
    /// Start of the newest pulse, true seconds from the first sample.
    pub last_s: f64,
    /// How many pulses.
    pub pulses: usize,
}

/// The last pulses of all trains.
pub(super) struct Recent {
    clock: f64,
    to_field: [[f64; 3]; 3],
    unclaimed: Unclaimed,
    trains: Vec<VecDeque<Pulse>>,
}

impl Recent {
    pub(super) fn new(calibration: &Calibration, axes: usize) -> Self {
        Self {
            clock: calibration.clock_ratio(),
            to_field: calibration.magnitude_matrix(axes),
            unclaimed: Unclaimed::default(),
            trains: Vec::new(),
        }
    }

    /// Magnitude of a pulse, A/m or counts.
    pub(super) fn magnitude(&self, pulse: &Pulse) -> f64 {
        pulse.magnitude(&self.to_field).0
    }

    pub(super) fn take(&mut self, event: &Event) {
        if let Some((train, pulse)) = self.unclaimed.take(event) {
            self.add(train, pulse);
        } else if let Event::Assigned { pulse, train } = event
            && let Some(pulse) = self.recalled(*pulse)
        {
            self.add(*train, pulse);
        }
    }

    /// A pulse that was given to another train before.
    fn recalled(&mut self, id: u64) -> Option<Pulse> {
        self.trains.iter_mut().find_map(|pulses| {
            let place = pulses.iter().position(|p| p.id == id)?;
            pulses.remove(place)
        })
    }

    fn add(&mut self, train: usize, pulse: Pulse) {
        if self.trains.len() <= train {
            self.trains.resize_with(train + 1, VecDeque::new);
        }
        let kept = &mut self.trains[train];
        kept.insert(kept.partition_point(|p| p.on_s < pulse.on_s), pulse);
        let newest_s = kept.back().map_or(0.0, |p| p.on_s);
        while kept.len() > MOST || kept.front().is_some_and(|p| newest_s - p.on_s > OLDEST_S) {
            kept.pop_front();
        }
    }

    /// What the last pulses of the unit of these trains say.
    pub(super) fn of(&self, trains: &[usize]) -> Option<Now> {
        let own = trains.iter().filter_map(|train| self.trains.get(*train));
        let last_s = |pulses: &&VecDeque<Pulse>| pulses.back().map_or(f64::MIN, |p| p.on_s);
        let pulses = own.max_by(|a, b| last_s(a).total_cmp(&last_s(b)))?;
        let newest = pulses.back()?;
        // Overlapped pulses are less sure; they count where there is nothing else.
        let plain: Vec<&Pulse> = pulses.iter().filter(|p| !p.overlapped).collect();
        let used = if plain.is_empty() { pulses.iter().collect() } else { plain };
        let magnitudes: Vec<(f64, f64)> =
            used.iter().map(|p| p.magnitude(&self.to_field)).collect();
        let field = mean(&magnitudes);
        let direction = self.direction(&used)?;
        Some(Now {
            field,
            vector: (direction * field.value).into(),
            last_s: newest.on_s / self.clock,
            pulses: used.len(),
        })
    }

    /// The direction that all of them share best, whatever their phases and signs.
    fn direction(&self, pulses: &[&Pulse]) -> Option<Vector3<f64>> {
        let mut products = Matrix3::zeros();
        for pulse in pulses {
            let h: [Complex64; 3] = std::array::from_fn(|i| {
                (0..3).map(|j| pulse.amplitude[j] * self.to_field[i][j]).sum()
            });
            let power: f64 = h.iter().map(Complex64::norm_sqr).sum();
            if power > 0.0 {
                products += Matrix3::from_fn(|i, j| (h[i] * h[j].conj()).re / power);
            }
        }
        let found = products.symmetric_eigen();
        let (best, _) = found.eigenvalues.argmax();
        let direction: Vector3<f64> = found.eigenvectors.column(best).into();
        // Of the two, the one that points along its largest part: no flicker.
        let sign = direction[direction.iamax()].signum();
        direction.iter().all(|c| c.is_finite()).then_some(direction * sign)
    }
}

/// Plain mean; its uncertainty from the scatter, or from theory where that is more.
fn mean(values: &[(f64, f64)]) -> Reading {
    let count = values.len() as f64;
    let mean = values.iter().map(|v| v.0).sum::<f64>() / count;
    let theory = values.iter().map(|v| v.1 * v.1).sum::<f64>() / count;
    let scatter = match values.len() {
        0 | 1 => 0.0,
        _ => values.iter().map(|v| (v.0 - mean).powi(2)).sum::<f64>() / (count - 1.0),
    };
    Reading::new(mean, (scatter.max(theory) / count).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulse(id: u64, on_s: f64, along: [f64; 3], phase: f64) -> Pulse {
        Pulse {
            id,
            on_s,
            off_s: on_s + 0.09,
            u_edge_s: 1e-5,
            edge_s: [0.0; 2],
            offset_hz: 12.0,
            u_offset_hz: 0.01,
            amplitude: along.map(|a| Complex64::from_polar(a.abs(), phase) * a.signum()),
            amplitude_noise: [0.01; 3],
            energy_to_noise: 1e4,
            overlapped: false,
            shape: None,
        }
    }

    #[test]
    fn the_last_pulses_count_whatever_their_phase() {
        let mut recent = Recent::new(&Calibration::default(), 3);
        let far = [300.0, -400.0, 0.0];
        let near = [0.0, -30.0, 40.0];
        for k in 0..20_u64 {
            let along = if k < 10 { far } else { near };
            recent.take(&Event::Pulse(pulse(k, k as f64, along, 2.3 * k as f64)));
            recent.take(&Event::Assigned { pulse: k, train: 1 });
        }
        let now = recent.of(&[0, 1]).unwrap();
        assert!((now.field.value - 50.0).abs() < 0.01 && now.field.u < 0.1, "{now:?}");
        assert_eq!((now.pulses, now.last_s), (MOST, 19.0));
        for (found, meant) in now.vector.iter().zip(near) {
            assert!((found - meant).abs() < 0.05, "{now:?}");
        }
        assert_eq!(recent.of(&[0]), None);
        // Pulses may turn out to be another unit's.
        recent.take(&Event::Assigned { pulse: 19, train: 2 });
        assert_eq!(recent.of(&[2]).unwrap().last_s, 19.0);
        assert_eq!(recent.of(&[1]).unwrap().last_s, 18.0);
    }
}
