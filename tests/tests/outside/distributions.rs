//! Student's t, normal and chi-squared against the table that scipy made.

use coilrig_analysis::uncertainty::coverage;

const TABLE: &str = include_str!("../../outside/scipy_distributions.csv");

#[test]
fn distributions_agree_with_scipy() {
    let mut counts = [0; 5];
    for line in TABLE.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |i: usize| -> f64 { cells[i].parse().expect("number") };
        let (freedom, argument, theirs) = (number(2), number(3), number(4));
        let (kind, ours) = match (cells[0], cells[1]) {
            ("normal", "cdf") => (0, coverage::normal_cdf(argument)),
            ("student", "cdf") => (1, coverage::student_cdf(argument, freedom)),
            ("chi-squared", "cdf") => (2, coverage::chi_squared_cdf(argument, freedom)),
            ("normal" | "student", _) => (3, coverage::student_quantile(argument, freedom)),
            _ => (4, coverage::chi_squared_quantile(argument, freedom)),
        };
        counts[kind] += 1;
        let off = (ours - theirs).abs();
        // Probabilities absolutely, quantiles relatively.
        let scale = if kind < 3 { 1.0 } else { theirs.abs().max(1.0) };
        assert!(off < 1e-9 * scale, "{line}: {ours} here, {off:e} off");
    }
    assert!(counts.iter().all(|n| *n >= 10), "{counts:?}");
}
