#!/usr/bin/env python3
"""Reads exported tables with DuckDB and with pandas, and prints what they hold as JSON.

    export_read.py FOLDER
"""

import json
import sys
from pathlib import Path

import duckdb
import pandas as pd


def by_duckdb(folder):
    """Rows and types of each table, and the numbers as a query engine groups them."""
    tables = {}
    for path in sorted(folder.glob("*.parquet")):
        table = duckdb.sql(f"SELECT * FROM read_parquet('{path}')")
        types = dict(zip(table.columns, map(str, table.types)))
        tables[path.stem] = {"rows": len(table.fetchall()), "types": types}
    numbers = duckdb.sql(
        f"""
        SELECT unit_name, quantity, count(*), avg(value), avg(u), max(epoch_ms(measured_at))
        FROM read_parquet('{folder}/value.parquet') WHERE in_force GROUP BY ALL ORDER BY ALL
        """
    ).fetchall()
    joined = duckdb.sql(
        f"""
        SELECT count(*) FROM read_parquet('{folder}/value.parquet') AS v
        JOIN read_parquet('{folder}/measurement.parquet') AS m
        ON v.park = m.park AND v.measurement = m.id
        JOIN read_parquet('{folder}/unit.parquet') AS u ON u.park = m.park AND u.unit = m.unit
        """
    ).fetchone()[0]
    return {"tables": tables, "numbers": numbers, "joined": joined}


def by_pandas(folder):
    """The same from Parquet, and whether CSV holds the same."""
    tables, same = {}, {}
    for path in sorted(folder.glob("*.parquet")):
        parquet = pd.read_parquet(path)
        tables[path.stem] = {
            "rows": len(parquet),
            "types": {name: str(kind) for name, kind in parquet.dtypes.items()},
        }
        csv = pd.read_csv(path.with_suffix(".csv"), keep_default_na=False, dtype=str)
        as_text = parquet.copy()
        for name in as_text.columns:
            column = as_text[name]
            if isinstance(column.dtype, pd.DatetimeTZDtype):
                as_text[name] = column.dt.strftime("%Y-%m-%dT%H:%M:%S.%f").str[:-3] + "Z"
            elif column.dtype == bool:
                as_text[name] = column.map({True: "true", False: "false"})
            elif pd.api.types.is_numeric_dtype(column):
                csv[name] = pd.to_numeric(csv[name])
        as_text = as_text.fillna({n: "" for n in as_text.select_dtypes(exclude="number").columns})
        same[path.stem] = list(csv.columns) == list(as_text.columns) and all(
            all(a == b or (pd.isna(a) and pd.isna(b)) for a, b in zip(csv[n], as_text[n]))
            for n in csv.columns
        )
    values = pd.read_parquet(folder / "value.parquet")
    groups = values[values.in_force].groupby(["unit_name", "quantity"])["value"].mean()
    return {
        "tables": tables,
        "same_as_csv": same,
        "means": {f"{unit} {quantity}": mean for (unit, quantity), mean in groups.items()},
    }


if __name__ == "__main__":
    where = Path(sys.argv[1])
    print(json.dumps({"duckdb": by_duckdb(where), "pandas": by_pandas(where)}))
