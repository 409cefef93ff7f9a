//! The sets of published standards, compiled in.
//!
//! ASTM F1491 has no set: of it only the carrier of 457.0 kHz is known here, without a
//! tolerance to judge by.

use super::set::LimitSet;

/// Name of the set that units made today are judged by.
pub const CURRENT: &str = "en-300-718-1";

const FILES: [&str; 4] = [
    include_str!("sets/en-300-718-1.toml"),
    include_str!("sets/erc-70-03.toml"),
    include_str!("sets/ets-300-718.toml"),
    include_str!("sets/en-282.toml"),
];

/// All sets, the current one first.
pub fn all() -> Vec<LimitSet> {
    // That each of them can be read is tested below.
    FILES.iter().filter_map(|text| LimitSet::parse(text).ok()).collect()
}

/// The set of this name.
pub fn named(name: &str) -> Option<LimitSet> {
    all().into_iter().find(|set| set.name == name)
}

/// The set that units of this year were made to: the latest one in force then.
/// `None` for a year before all of them.
pub fn of_year(year: i32) -> Option<LimitSet> {
    let in_force = |set: &LimitSet| set.valid_from.is_some_and(|from| from <= year);
    all().into_iter().filter(in_force).max_by_key(|set| set.valid_from)
}

/// The current set, where `set` is an earlier one that units were made to.
pub fn newer_than(set: &LimitSet) -> Option<LimitSet> {
    let current = named(CURRENT)?;
    (set.valid_from? < current.valid_from?).then_some(current)
}

#[cfg(test)]
mod tests {
    use super::super::set::Quantity;
    use super::super::{GREATEST_FIELD_AT_10_M, LEAST_FIELD_AT_10_M};
    use super::*;

    #[test]
    fn every_file_can_be_read() {
        for text in FILES {
            LimitSet::parse(text).unwrap_or_else(|e| panic!("{:?}: {e} in {text}", e.line));
        }
        assert_eq!(all()[0].name, CURRENT);
    }

    #[test]
    fn bounds_are_those_of_the_charts() {
        let set = named(CURRENT).unwrap();
        let field = set.bound(Quantity::Field { distance_m: 10.0 }).unwrap();
        let same = |a: Option<f64>, b: f64| (a.unwrap() / b - 1.0).abs() < 1e-12;
        assert!(same(field.lower, LEAST_FIELD_AT_10_M.field_a_per_m));
        assert!(same(field.upper, GREATEST_FIELD_AT_10_M.field_a_per_m));
    }

    #[test]
    fn a_year_has_the_set_of_its_time_and_the_newer_one_beside() {
        let name = |year| of_year(year).map(|set| set.name);
        assert_eq!(name(1985), None);
        assert_eq!(name(1991).as_deref(), Some("en-282"));
        assert_eq!(name(1996).as_deref(), Some("en-282"));
        assert_eq!(name(1998).as_deref(), Some("ets-300-718"));
        assert_eq!(name(2001).as_deref(), Some(CURRENT));
        assert_eq!(name(2026).as_deref(), Some(CURRENT));
        let beside = |name: &str| newer_than(&named(name).unwrap()).map(|set| set.name);
        assert_eq!(beside("en-282").as_deref(), Some(CURRENT));
        assert_eq!(beside(CURRENT), None);
        assert_eq!(beside("erc-70-03"), None);
    }
}
