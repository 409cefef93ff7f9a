//! The page that documents exported tables.

use super::tables::{TABLES, Type};

/// Name of the format.
pub(super) const FORMAT: &str = "coilrig-export/1";

const ABOUT: &str = "\
Tables of the records of a park or club, each as Parquet and as CSV with the same columns.
Rows of all parks can be put together: `park` and `id` (or the first columns) are unique.

Times are UTC: timestamps in microseconds in Parquet, RFC 3339 in CSV. Quantities are in SI
units, which their names end with; alternating fields are RMS values; `u` is the standard
uncertainty (coverage factor 1). Nothing is ever changed or deleted: what was corrected or
withdrawn is there with `in_force` false, so count `in_force` rows only.

With DuckDB, for the files of all parks in folders side by side:

```sql
SELECT park, unit_name, quantity, count(*), avg(value)
FROM read_parquet('*/value.parquet') WHERE in_force GROUP BY ALL ORDER BY ALL;
```
";

/// The page as Markdown.
pub(super) fn page() -> String {
    let mut page = format!("# {FORMAT}\n\n{ABOUT}");
    for table in TABLES {
        page += &format!("\n## {}\n\n{}\n\n", table.name, table.about);
        page += "| column | type | may be empty | what |\n|---|---|---|---|\n";
        page += "| park | text | no | name of the park or club, as given for the export |\n";
        for column in table.all() {
            let kind = match column.kind {
                Type::Text | Type::UnitName => "text",
                Type::Number => "double",
                Type::Whole => "64-bit integer",
                Type::Time => "timestamp, UTC",
                Type::Truth => "boolean",
            };
            let empty = if column.optional { "yes" } else { "no" };
            page += &format!("| {} | {kind} | {empty} | {} |\n", column.name, column.about);
        }
    }
    page
}
