//! Whether a measured quantity keeps its limits (JCGM 106:2012).
//!
//! What is known of a quantity is its estimate, standard uncertainty and degrees
//! of freedom: a normal distribution about the estimate, Student's t where the
//! uncertainty itself is doubted. The share of it between the limits is the
//! *probability of conformity* (JCGM 106, 7.2 to 7.4). The rule:
//!
//! * **conforms** when that probability is at least 1 − risk,
//! * **does not conform** when it is at most the risk,
//! * **undecided** between.
//!
//! So neither answer is wrong more often than the stated risk, in any case near a
//! limit, whatever units come to the bench. It is a rule of guard bands on both
//! sides of each limit (JCGM 106, 8.3.2 and 8.3.3): at [`DEFAULT_RISK`] they are
//! t₀.₉₇₅ · u wide, and a quantity conforms when its 95 % interval lies within the
//! limits, does not when it lies outside, and is undecided when it straddles one.
//! What stands on paper as value ± U and the decision are then the same.
//!
//! A unit has several quantities, maybe in several captures, and each may be wrong.
//! The probability that at least one of them breaks its limits is at most the sum of
//! their probabilities to do so, however they hang together; a [`Verdict`] over all
//! of them asks that this sum keeps within the risk too. Of a unit that does not
//! conform no such sum is needed: it keeps all its limits with no more than the
//! probability of the one that it breaks.

mod decision;
mod guard_band;
mod verdict;

pub use decision::{Assessment, DEFAULT_RISK, Decision, Knowledge, Rule, RuleError};
pub use guard_band::{Acceptance, acceptance};
pub use verdict::Verdict;
