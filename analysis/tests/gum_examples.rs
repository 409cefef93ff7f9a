//! The uncertainty engine on the worked examples of JCGM 100:2008 (GUM). Data and
//! results are quoted from memory.

use coilrig_analysis::reading::Reading;
use coilrig_analysis::uncertainty::{Input, Inputs, UncertaintyError, propagate, propagate_all};

#[track_caller]
fn close(what: &str, found: f64, printed: f64, last_digit: f64) {
    // As printed, or one off in the last digit where the book went on with rounded numbers.
    assert!((found - printed).abs() <= last_digit, "{what}: {found}, printed {printed}");
}

/// H.1: an end gauge compared with a standard one of 50 mm. Lengths in nm.
#[test]
fn h1_end_gauge() -> Result<(), UncertaintyError> {
    let mut inputs = Inputs::new();
    let observed =
        |name, value, u, freedom| Input::observed(name, "nm", Reading::new(value, u), freedom);
    let standard = inputs
        .add(Input::normal("standard", "nm", 50_000_623.0, 25.0)?.with_degrees_of_freedom(18.0)?);
    let difference = inputs.add(observed("repeated observations", 215.0, 5.8, 24.0)?);
    let random = inputs.add(observed("comparator, random", 0.0, 3.9, 5.0)?);
    let systematic = inputs.add(
        Input::normal("comparator, systematic", "nm", 0.0, 6.7)?.with_degrees_of_freedom(8.0)?,
    );
    let expansion = inputs.add(Input::rectangular("expansion", "1/K", 11.5e-6, 2e-6)?);
    let expansions = inputs.add(Input::rectangular("expansions", "1/K", 0.0, 1e-6)?.doubted(0.1)?);
    let mean_off = inputs.add(Input::normal("mean of the bed", "K", -0.1, 0.2)?);
    let cycle = inputs.add(Input::arcsine("cycle of the bed", "K", 0.0, 0.5)?);
    let apart = inputs.add(Input::rectangular("gauges apart", "K", 0.0, 0.05)?.doubted(0.5)?);
    let budget = propagate(&inputs, |x| {
        let off = x[mean_off] + x[cycle];
        let d = x[difference] + x[random] + x[systematic];
        x[standard] + d - x[standard] * (x[expansions] * off + x[expansion] * x[apart])
    })?;
    close("length", budget.value, 50_000_838.0, 1e-6);
    close("u", budget.u, 32.0, 0.5);
    close("degrees of freedom", budget.degrees_of_freedom.floor(), 16.0, 0.0);
    let expanded = budget.expanded(0.99);
    close("k", expanded.k, 2.92, 0.005);
    // The book multiplies the rounded 32 nm.
    close("U99", expanded.k * budget.u.round(), 93.0, 0.5);
    close("U99", expanded.u, 93.0, 0.6);
    // Table H.1: 25, 9.7, 0, 2.9, 0, 16.6 nm.
    let part = |i: usize| budget.contributions[i].u_contribution;
    close("u of the standard", part(standard), 25.0, 0.05);
    close(
        "u of the difference",
        part(difference).hypot(part(random)).hypot(part(systematic)),
        9.7,
        0.05,
    );
    close("u of the expansions", part(expansions), 2.9, 0.05);
    close("u of the temperatures", part(apart), 16.6, 0.05);
    close("u of the mean expansion", part(expansion), 0.0, 0.01);
    Ok(())
}

/// H.2: resistance, reactance and impedance from voltage, current and phase,
/// observed together five times.
#[test]
fn h2_resistance_and_reactance() -> Result<(), UncertaintyError> {
    let mut inputs = Inputs::new();
    let [v, i, phi] = inputs.add_observed_together([
        ("V", "V", &[5.007, 4.994, 5.005, 4.990, 4.999]),
        ("I", "A", &[19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]),
        ("φ", "rad", &[1.0456, 1.0438, 1.0468, 1.0428, 1.0433]),
    ])?;
    let results = propagate_all(&inputs, |x| {
        let z = x[v] / x[i];
        [z * x[phi].cos(), z * x[phi].sin(), z]
    })?;
    let [r, x, z] = &results.budgets;
    for (what, budget, value, u) in
        [("R", r, 127.732, 0.071), ("X", x, 219.847, 0.295), ("Z", z, 254.260, 0.236)]
    {
        close(what, budget.value, value, 0.0006);
        close(what, budget.u, u, 0.0006);
        // The same five sets of observations stand behind all of it.
        close(what, budget.degrees_of_freedom, 4.0, 1e-9);
    }
    close("r(R, X)", results.correlation(0, 1), -0.588, 0.0006);
    close("r(R, Z)", results.correlation(0, 2), -0.485, 0.0006);
    close("r(X, Z)", results.correlation(1, 2), 0.993, 0.0006);
    Ok(())
}

/// H.3: the correction of a thermometer, a line fitted to eleven readings, at 30 °C.
#[test]
fn h3_thermometer() -> Result<(), UncertaintyError> {
    let mut inputs = Inputs::new();
    let fitted = |name, value, u| Input::observed(name, "°C", Reading::new(value, u), 9.0);
    let intercept = inputs.add(fitted("intercept at 20 °C", -0.1712, 0.0029)?);
    let slope = inputs.add(fitted("slope", 0.00218, 0.00067)?);
    inputs.correlate(intercept, slope, -0.930)?;
    let budget = propagate(&inputs, |x| x[intercept] + x[slope] * (30.0 - 20.0))?;
    close("correction", budget.value, -0.1494, 1e-9);
    close("u", budget.u, 0.0041, 0.00005);
    close("degrees of freedom", budget.degrees_of_freedom, 9.0, 1e-9);
    Ok(())
}

/// G.4.1, example: a product of three inputs from 10, 5 and 15 observations.
#[test]
fn g4_product() -> Result<(), UncertaintyError> {
    let mut inputs = Inputs::new();
    for (name, percent, n) in [("X1", 0.25, 10.0), ("X2", 0.57, 5.0), ("X3", 0.82, 15.0)] {
        inputs.add(Input::observed(name, "", Reading::new(1.0, 0.01 * percent), n - 1.0)?);
    }
    let budget = propagate(&inputs, |x| x[0] * x[1] * x[2])?;
    close("u in per cent", 100.0 * budget.u, 1.03, 0.005);
    close("degrees of freedom", budget.degrees_of_freedom, 19.0, 0.05);
    close("U95 in per cent", 100.0 * budget.expanded(0.95).u, 2.2, 0.05);
    Ok(())
}
