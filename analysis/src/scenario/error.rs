//! What is wrong with a scenario, by field.

/// A field of a scenario that cannot be meant as it stands.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field} {what}")]
pub struct ScenarioError {
    /// The field, as `receiver.gain_step` or `unit[1] "creek": period_s`.
    pub field: String,
    /// What is wrong with it.
    pub what: String,
    /// What to do about it.
    pub remedy: String,
}

impl ScenarioError {
    pub(super) fn new(
        field: impl Into<String>,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self { field: field.into(), what: what.into(), remedy: remedy.into() }
    }

    /// The same error met inside `part`.
    pub(super) fn inside(mut self, part: &str) -> Self {
        self.field = format!("{part}{}", self.field);
        self
    }
}

/// `value` must be finite and lie in `range`.
pub(super) fn in_range(
    field: &str,
    value: f64,
    range: std::ops::RangeInclusive<f64>,
) -> Result<(), ScenarioError> {
    if range.contains(&value) {
        return Ok(());
    }
    Err(ScenarioError::new(
        field,
        format!("is {value}"),
        format!("give a number from {} to {}", range.start(), range.end()),
    ))
}

/// All of `values` must be finite and within ±`bound`.
pub(super) fn vector_within(
    field: &str,
    values: [f64; 3],
    bound: f64,
) -> Result<(), ScenarioError> {
    values.iter().try_for_each(|&value| in_range(field, value, -bound..=bound))
}
