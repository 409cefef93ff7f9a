//! Why an uncertainty cannot be evaluated.

/// What is wrong with the inputs of a formula, or with the formula at them.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum UncertaintyError {
    /// A number that is none.
    #[error("{name}: {what} is {value}, not a finite number")]
    NotFinite {
        /// Name of the input.
        name: String,
        /// Value, uncertainty, …
        what: &'static str,
        /// What it was.
        value: f64,
    },
    /// A spread below zero.
    #[error("{name}: an uncertainty of {value} is below zero")]
    Negative {
        /// Name of the input.
        name: String,
        /// What it was.
        value: f64,
    },
    /// Fewer than one degree of freedom.
    #[error("{name}: {value} degrees of freedom, but at least 1 is needed")]
    DegreesOfFreedom {
        /// Name of the input.
        name: String,
        /// What they were.
        value: f64,
    },
    /// One observation has no scatter.
    #[error("{name}: {found} observations, but a scatter needs at least 2")]
    TooFew {
        /// Name of the input.
        name: String,
        /// Observations given.
        found: usize,
    },
    /// Observations that were not made together have no correlation.
    #[error("{name}: {found} observations, where the others made together are {others}")]
    NotTogether {
        /// Name of the input.
        name: String,
        /// Observations given.
        found: usize,
        /// Those of the first input.
        others: usize,
    },
    /// A coefficient beyond ±1, or of an input with itself.
    #[error("a correlation of {value} between {first} and {second} is none")]
    Correlation {
        /// Name of one input.
        first: String,
        /// Name of the other.
        second: String,
        /// The coefficient.
        value: f64,
    },
    /// Coefficients that no random quantities can have all at once.
    #[error("the correlations between the inputs contradict each other")]
    Contradiction,
    /// The formula gives no number at the inputs or close by.
    #[error("the formula has no value where {name} is close to {value}")]
    NoValue {
        /// Name of the input that was changed.
        name: String,
        /// Its value.
        value: f64,
    },
}
