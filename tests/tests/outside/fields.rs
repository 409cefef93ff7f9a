//! Fields of dipoles, loops and solenoids against the tables that magpylib made.

use coilrig_analysis::field::circular_loop::CircularLoop;
use coilrig_analysis::field::dipole;
use coilrig_analysis::field::solenoid::Solenoid;

const TABLE: &str = include_str!("../../outside/magpylib_fields.csv");

/// One line of the table: what makes the field, where, and the field.
struct Row<'a> {
    source: &'a str,
    strength: f64,
    radius_m: f64,
    axis: [f64; 3],
    offset_m: [f64; 3],
    field_a_per_m: [f64; 3],
}

fn rows() -> impl Iterator<Item = Row<'static>> {
    TABLE.lines().filter(|line| !line.starts_with('#')).skip(1).map(|line| {
        let (source, numbers) = line.split_once(',').expect("columns");
        let numbers: Vec<f64> = numbers.split(',').map(|n| n.parse().expect("number")).collect();
        let three = |from: usize| numbers[from..from + 3].try_into().expect("three numbers");
        Row {
            source,
            strength: numbers[0],
            radius_m: numbers[1],
            axis: three(2),
            offset_m: three(5),
            field_a_per_m: three(8),
        }
    })
}

fn norm(v: [f64; 3]) -> f64 {
    v.iter().map(|c| c * c).sum::<f64>().sqrt()
}

#[test]
fn fields_agree_with_magpylib() {
    let mut counts = (0, 0);
    for (number, row) in rows().enumerate() {
        let h = if row.source == "dipole" {
            counts.0 += 1;
            let moment = row.axis.map(|c| c * row.strength / norm(row.axis));
            dipole::field(moment, row.offset_m, 0.0).map(|c| c.re)
        } else {
            counts.1 += 1;
            CircularLoop { turns: 1.0, radius_m: row.radius_m, current_a: row.strength }
                .field(row.axis, row.offset_m)
        };
        let off = norm(std::array::from_fn(|i| h[i] - row.field_a_per_m[i]));
        // The table holds 12 digits.
        assert!(
            off <= 2e-11 * norm(row.field_a_per_m),
            "row {} ({}): {h:?} where magpylib has {:?}",
            number + 1,
            row.source,
            row.field_a_per_m
        );
    }
    assert!(counts.0 >= 30 && counts.1 >= 30, "{counts:?}");
}

const SOLENOIDS: &str = include_str!("../../outside/magpylib_solenoid.csv");

#[test]
fn solenoids_agree_with_magpylib() {
    let mut rows = 0;
    for line in SOLENOIDS.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let numbers: Vec<f64> = line.split(',').map(|n| n.parse().expect("number")).collect();
        let [ampere_turns, radius_m, length_m, rho_m, z_m, across, along] = numbers[..] else {
            panic!("{line}")
        };
        let solenoid = Solenoid { turns: ampere_turns, radius_m, length_m, current_a: 1.0 };
        let h = solenoid.off_axis(rho_m, z_m);
        let off = (h.0 - across).hypot(h.1 - along) / across.hypot(along);
        // The table holds 12 digits; far away magpylib loses some of its own.
        assert!(off < 1e-10, "{off:e}: {line}");
        rows += 1;
    }
    assert!(rows >= 60, "{rows}");
}
