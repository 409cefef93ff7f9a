//! What a user says a unit is.

use clap::Args;
use serde::Serialize;

/// Identity of the unit on the sheet, as typed.
#[derive(Clone, Debug, Default, Args, Serialize)]
pub struct Identity {
    /// Maker and model, or any name (default: that in the capture)
    #[arg(long, value_name = "TEXT", help_heading = "Identity")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Serial number
    #[arg(long, value_name = "TEXT", help_heading = "Identity")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Who it belongs to
    #[arg(long, value_name = "TEXT", help_heading = "Identity")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub owner: Option<String>,
    /// Who measured
    #[arg(long, value_name = "TEXT", help_heading = "Identity")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// Where it was measured
    #[arg(long, value_name = "TEXT", help_heading = "Identity")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Anything else: batteries, condition of the case
    #[arg(long, value_name = "TEXT", help_heading = "Identity")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}
