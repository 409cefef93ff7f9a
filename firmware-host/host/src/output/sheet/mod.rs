//! The sheet of a unit: one HTML page with everything in it, made to be printed on
//! A4, filed and signed. A batch begins with a table of all units, worst first.

mod page;

use coilrig_analysis::conformity::Decision;
use maud::{Markup, html};

use super::verification::{table, words};
use crate::error::Result;
use crate::measuring::counted;
use crate::verifying::{Terms, UnitVerified, Unjudged};

const STYLE: &str = include_str!("sheet.css");

/// The page of all `units`, with their budgets if asked for, and of what else of a
/// batch could not be judged.
///
/// # Errors
///
/// A picture that cannot be drawn, a capture that can no longer be read.
pub fn html(
    units: &[UnitVerified],
    unjudged: &[Unjudged],
    terms: &Terms,
    batch: bool,
    budget: bool,
) -> Result<String> {
    let sheets: Vec<Markup> =
        units.iter().map(|unit| page::sheet(unit, terms, budget)).collect::<Result<_>>()?;
    let title = match units {
        [one] if !batch => format!("{}: verification", one.name()),
        all => format!("{}: verification", counted(all.len() as u64, "unit")),
    };
    let body = html! {
        @if batch { (overview(units, unjudged, terms)) }
        @for sheet in &sheets { (sheet) }
    };
    Ok(super::page::page(&title, STYLE, &body))
}

/// All units of a batch.
fn overview(units: &[UnitVerified], unjudged: &[Unjudged], terms: &Terms) -> Markup {
    let rows = table::batch_rows(units, unjudged, words::value_alone);
    let (header, body) = rows.split_at(1);
    let classes =
        unjudged.iter().map(|_| "undecided").chain(units.iter().map(|u| class(u.decision())));
    html! {
        section.sheet {
            h1 { (table::how_many(units, unjudged)) " by " (terms.set.title) }
            table.batch {
                thead { @for row in header { tr { @for cell in row { th { (cell) } } } } }
                tbody { @for (class, row) in classes.zip(body) {
                    tr class=(class) {
                        @for (place, cell) in row.iter().enumerate() {
                            @if place < 2 { th { (cell) } } @else { td { (cell) } }
                        }
                    }
                } }
            }
            p.note {
                "Worst first. Uncertainties stand on the sheet of each unit, which follow."
            }
            p.note { (words::rule(terms.rule)) }
            (page::cautions())
        }
    }
}

/// Style of a decision.
fn class(decision: Decision) -> &'static str {
    match decision {
        Decision::Conforms => "conforms",
        Decision::Undecided => "undecided",
        Decision::DoesNotConform => "fails",
    }
}
