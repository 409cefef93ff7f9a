//! Means of each train over successive stretches of time.

use crate::reading::Reading;
use crate::signal::{CARRIER_HZ, Calibration, Event, Pulse, Unclaimed};

/// Fewer pulses make no row.
const LEAST: usize = 3;

/// Carriers and periods that agree like this are one transmitter in the next capture.
const SAME_CARRIER_HZ: f64 = 10.0;
const SAME_PERIOD: f64 = 0.05;

/// One train over one stretch of time, times and frequencies by the true clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Number of the train.
    pub train: usize,
    /// Mean time of its pulses from the start of the capture, s.
    pub at_s: f64,
    /// Pulses in the row.
    pub pulses: usize,
    /// Mean carrier.
    pub carrier_hz: Reading,
    /// Mean period.
    pub period_s: Reading,
    /// Mean time on.
    pub on_time_s: Reading,
    /// RMS magnitude in A/m; in counts without a calibration.
    pub field: Reading,
}

impl Row {
    /// Whether a row of the next capture goes on with the transmitter of this one.
    pub fn goes_on_in(&self, next: &Row) -> bool {
        let apart_hz = (self.carrier_hz.value - next.carrier_hz.value).abs();
        let ratio = self.period_s.value / next.period_s.value;
        apart_hz < SAME_CARRIER_HZ && (ratio - 1.0).abs() < SAME_PERIOD
    }
}

/// Gathers rows from the events of an analysis.
pub struct Collector {
    row_s: f64,
    clock: f64,
    to_field: [[f64; 3]; 3],
    unclaimed: Unclaimed,
    /// The stretch each train is in, and its pulses.
    current: Vec<(i64, Vec<Pulse>)>,
    rows: Vec<Row>,
}

impl Collector {
    /// Rows of `row_s` seconds under this calibration.
    pub fn new(row_s: f64, calibration: &Calibration, axes: usize) -> Self {
        Self {
            row_s,
            clock: calibration.clock_ratio(),
            to_field: calibration.magnitude_matrix(axes),
            unclaimed: Unclaimed::default(),
            current: Vec::new(),
            rows: Vec::new(),
        }
    }

    /// Take in what the analysis says.
    pub fn take(&mut self, event: &Event) {
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
        self.current.iter_mut().find_map(|(_, pulses)| {
            pulses.iter().position(|p| p.id == id).map(|i| pulses.remove(i))
        })
    }

    /// All rows, by train and time.
    pub fn finish(mut self) -> Vec<Row> {
        for train in 0..self.current.len() {
            self.close(train);
        }
        self.rows.sort_by(|a, b| a.train.cmp(&b.train).then(a.at_s.total_cmp(&b.at_s)));
        self.rows
    }

    fn add(&mut self, train: usize, pulse: Pulse) {
        let stretch = (pulse.on_s / self.clock / self.row_s).floor() as i64;
        if self.current.len() <= train {
            self.current.resize_with(train + 1, || (stretch, Vec::new()));
        }
        if self.current[train].0 != stretch {
            self.close(train);
            self.current[train].0 = stretch;
        }
        self.current[train].1.push(pulse);
    }

    fn close(&mut self, train: usize) {
        let mut pulses = std::mem::take(&mut self.current[train].1);
        if pulses.len() < LEAST {
            return;
        }
        pulses.sort_by(|a, b| a.on_s.total_cmp(&b.on_s));
        let clock = self.clock;
        let in_time = |r: Reading| Reading::new(r.value / clock, r.u / clock);
        let mean = |value: &dyn Fn(&Pulse) -> (f64, f64)| mean(pulses.iter().map(value));
        let carrier = mean(&|p| (p.offset_hz, p.u_offset_hz));
        self.rows.push(Row {
            train,
            at_s: pulses.iter().map(|p| p.on_s).sum::<f64>() / pulses.len() as f64 / clock,
            pulses: pulses.len(),
            carrier_hz: Reading::new((CARRIER_HZ + carrier.value) * clock, carrier.u),
            period_s: in_time(period(&pulses)),
            on_time_s: in_time(mean(&|p| (p.on_time_s(), p.u_edge_s * std::f64::consts::SQRT_2))),
            field: mean(&|p| p.magnitude(&self.to_field)),
        });
    }
}

/// Plain mean; its uncertainty from the scatter, or from theory where that is more.
fn mean(values: impl Iterator<Item = (f64, f64)> + Clone) -> Reading {
    let count = values.clone().count() as f64;
    let mean = values.clone().map(|v| v.0).sum::<f64>() / count;
    let scatter = values.clone().map(|v| (v.0 - mean).powi(2)).sum::<f64>() / (count - 1.0);
    let theory = values.map(|v| v.1 * v.1).sum::<f64>() / count;
    Reading::new(mean, (scatter.max(theory) / count).sqrt())
}

/// Slope of the start times over the pulses' numbers.
fn period(pulses: &[Pulse]) -> Reading {
    let steps = pulses.windows(2).map(|p| p[1].on_s - p[0].on_s);
    let shortest = steps.fold(f64::INFINITY, f64::min);
    let count = pulses.len() as f64;
    // The shortest step is a rough guess: walk on from pulse to pulse.
    let mut numbers = vec![0.0];
    let mut guess = shortest;
    for (i, pair) in pulses.windows(2).enumerate() {
        let step = ((pair[1].on_s - pair[0].on_s) / guess).round().max(1.0);
        numbers.push(numbers[i] + step);
        guess = (pair[1].on_s - pulses[0].on_s) / numbers[i + 1];
    }
    let (x, y) =
        (numbers.iter().sum::<f64>() / count, pulses.iter().map(|p| p.on_s).sum::<f64>() / count);
    let pairs = || numbers.iter().zip(pulses);
    let xx: f64 = numbers.iter().map(|n| (n - x).powi(2)).sum();
    let slope = pairs().map(|(n, p)| (n - x) * (p.on_s - y)).sum::<f64>() / xx;
    let left = pairs().map(|(n, p)| (p.on_s - y - slope * (n - x)).powi(2)).sum::<f64>();
    let scatter = left / (count - 2.0).max(1.0);
    let theory = pulses.iter().map(|p| p.u_edge_s.powi(2)).sum::<f64>() / count;
    Reading::new(slope, (scatter.max(theory) / xx).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulse(id: u64, on_s: f64) -> Pulse {
        Pulse {
            id,
            on_s,
            off_s: on_s + 0.09,
            u_edge_s: 1e-5,
            edge_s: [0.0; 2],
            offset_hz: 12.0 + on_s * 1e-3,
            u_offset_hz: 0.01,
            amplitude: [3.0.into(), 4.0.into(), 0.0.into()],
            amplitude_noise: [0.01; 3],
            energy_to_noise: 1e4,
            overlapped: false,
            shape: None,
        }
    }

    #[test]
    fn rows_follow_the_pulses_and_skip_what_is_missing() {
        let calibration = Calibration { clock_offset_ppm: Some(100.0), ..Calibration::default() };
        let mut collector = Collector::new(60.0, &calibration, 3);
        for k in (0..300).filter(|k| k % 7 != 3) {
            collector.take(&Event::Pulse(pulse(k, 0.5 + k as f64 * 1.02)));
        }
        for k in (0..300).filter(|k| k % 7 != 3) {
            collector.take(&Event::Assigned { pulse: k, train: 2 });
        }
        let rows = collector.finish();
        assert_eq!(rows.len(), 6);
        for row in &rows {
            assert_eq!(row.train, 2);
            assert!((row.period_s.value - 1.02 / 1.0001).abs() < 1e-9, "{row:?}");
            assert!((row.field.value - 5.0).abs() < 0.01);
            let expected = (457_012.0 + row.at_s * 1.0001e-3) * 1.0001;
            assert!((row.carrier_hz.value - expected).abs() < 1e-3, "{row:?} {expected}");
        }
    }
}
