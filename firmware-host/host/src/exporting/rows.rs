//! Rows of a table, some at a time.

use std::collections::HashMap;

use jiff::Timestamp;
use rusqlite::types::ValueRef;

use super::tables::{Table, Type};
use crate::error::Result;
use crate::records::{EntryId, Records};

/// Rows that are held at once.
const BATCH: usize = 20_000;

/// Values of one column, one a row; a time in microseconds of Unix time.
#[derive(Debug)]
pub(super) enum Cells {
    Text(Vec<Option<String>>),
    Number(Vec<Option<f64>>),
    Whole(Vec<Option<i64>>),
    Truth(Vec<Option<bool>>),
}

impl Cells {
    fn of(kind: Type) -> Self {
        match kind {
            Type::Text | Type::UnitName => Self::Text(Vec::new()),
            Type::Number => Self::Number(Vec::new()),
            Type::Whole | Type::Time => Self::Whole(Vec::new()),
            Type::Truth => Self::Truth(Vec::new()),
        }
    }

    fn push(
        &mut self,
        value: ValueRef<'_>,
        kind: Type,
        names: &HashMap<EntryId, String>,
    ) -> rusqlite::Result<()> {
        match self {
            Self::Text(cells) if kind == Type::UnitName => {
                cells.push(value.as_i64_or_null()?.and_then(|id| names.get(&EntryId(id)).cloned()));
            }
            Self::Text(cells) => cells.push(value.as_str_or_null()?.map(str::to_owned)),
            Self::Number(cells) => cells.push(value.as_f64_or_null()?),
            Self::Whole(cells) if kind == Type::Time => {
                let at = |text: &str| {
                    let at: Timestamp = text
                        .parse()
                        .map_err(|e: jiff::Error| rusqlite::types::FromSqlError::Other(e.into()))?;
                    Ok::<i64, rusqlite::types::FromSqlError>(at.as_microsecond())
                };
                cells.push(value.as_str_or_null()?.map(at).transpose()?);
            }
            Self::Whole(cells) => cells.push(value.as_i64_or_null()?),
            Self::Truth(cells) => cells.push(value.as_i64_or_null()?.map(|truth| truth != 0)),
        }
        Ok(())
    }
}

/// Rows, column by column.
#[derive(Debug)]
pub(super) struct Batch {
    pub(super) rows: usize,
    pub(super) columns: Vec<Cells>,
}

impl Batch {
    fn new(table: &Table) -> Self {
        // The park stands first.
        let kinds = std::iter::once(Type::Text).chain(table.all().map(|column| column.kind));
        Self { rows: 0, columns: kinds.map(Cells::of).collect() }
    }
}

/// Give all rows of `table` with the name of the park before each.
pub(super) fn each_batch(
    records: &Records,
    table: &Table,
    park: &str,
    mut take: impl FnMut(&Batch) -> Result<()>,
) -> Result<()> {
    let columns: Vec<&str> = table.all().map(|column| column.sql).collect();
    let sql =
        format!("SELECT {} FROM {}", columns.join(", "), table.from).replace("TABLE", table.name);
    let names: HashMap<EntryId, String> =
        records.units()?.into_iter().map(|u| (u.unit, u.entry.what.name)).collect();
    let mut batch = Batch::new(table);
    records.each_row(&sql, |row| {
        if batch.rows == BATCH {
            take(&std::mem::replace(&mut batch, Batch::new(table)))?;
        }
        batch.rows += 1;
        if let Cells::Text(parks) = &mut batch.columns[0] {
            parks.push(Some(park.to_owned()));
        }
        for (number, column) in table.all().enumerate() {
            let cells = &mut batch.columns[number + 1];
            row.get_ref(number)
                .and_then(|value| cells.push(value, column.kind, &names))
                .map_err(|e| records.unreadable(&e))?;
        }
        Ok(())
    })?;
    if batch.rows > 0 { take(&batch) } else { Ok(()) }
}
