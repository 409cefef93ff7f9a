//! What the uncertainties that a measurement states are made of.
//!
//! The same values and uncertainties as in the measurement, taken apart again; what
//! only a judgement has to count in (drift, edges, set-up, angles between the coils)
//! stays out.

use super::contribution;
use super::field::{Coils, Part};
use super::heard::{Heard, NotJudged};
use crate::uncertainty::{Budget, Input, Inputs, UncertaintyError, propagate};

/// Name, SI unit and budget of each quantity of a transmitter. A field without a
/// calibration is left out.
///
/// # Errors
///
/// A measurement that holds no numbers.
pub fn budgets(heard: &Heard<'_>) -> Result<Vec<(&'static str, &'static str, Budget)>, NotJudged> {
    let unit = heard.transmitter;
    let mut all = vec![("carrier", "Hz", carrier(heard)?)];
    for (name, time) in
        [("period", unit.period_s), ("time on", unit.on_time_s), ("time off", unit.off_time_s)]
    {
        let mut inputs = Inputs::new();
        let u_clock = time.value * heard.u_clock_ppm().unwrap_or(0.0) * 1e-6;
        let signal = inputs.add(heard.signal("s", time.without(u_clock))?);
        let clock = inputs.add(clock(heard)?);
        all.push((name, "s", propagate(&inputs, |x| x[signal] / (1.0 + 1e-6 * x[clock]))?));
    }
    if unit.field_a_per_m.is_some() && heard.calibration.field_per_count_u_rel.is_some() {
        let mut inputs = Inputs::new();
        let coils = Coils::add(heard, &mut inputs)?;
        let part = Part::add(heard, coils, &mut inputs)?;
        all.push(("field", "A/m", propagate(&inputs, |x| part.magnitude(x))?));
    }
    let mut inputs = Inputs::new();
    let signal = inputs.add(heard.signal("", unit.residual_carrier_ratio)?);
    all.push(("residual carrier", "1", propagate(&inputs, |x| x[signal])?));
    Ok(all)
}

fn carrier(heard: &Heard<'_>) -> Result<Budget, NotJudged> {
    let mut inputs = Inputs::new();
    let signal = inputs.add(heard.signal("Hz", heard.carrier_of_this_capture())?);
    let clock = inputs.add(clock(heard)?);
    Ok(propagate(&inputs, |x| x[signal] * (1.0 + 1e-6 * x[clock]))?)
}

/// The receiver's clock; without a calibration the measurement has no share of it.
fn clock(heard: &Heard<'_>) -> Result<Input, UncertaintyError> {
    match heard.u_clock_ppm() {
        Some(u_ppm) => heard.clock(u_ppm),
        None => Input::normal(contribution::CLOCK, "ppm", 0.0, 0.0),
    }
}
