"""A table as a Parquet file; pyarrow is wanted by this file only."""

import json
from collections.abc import Iterable
from itertools import islice
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from supervisor.journal.columns import Cell, Column, Table

ROWS_AT_ONCE = 50_000
TYPES = {
    "number": pa.float64(),
    "integer": pa.int64(),
    "string": pa.string(),
    "boolean": pa.bool_(),
    "datetime": pa.timestamp("us", tz="UTC"),
}


def write_parquet(
    path: Path, table: Table, rows: Iterable[tuple[Cell, ...]], about: dict[str, str]
) -> int:
    """How many rows. Units and descriptions go with the columns."""
    schema = pa.schema([_field(column) for column in table.columns])
    schema = schema.with_metadata(about | {"columns": json.dumps([*map(_told, table.columns)])})
    count, rest = 0, iter(rows)
    with pq.ParquetWriter(path, schema) as writer:
        while some := list(islice(rest, ROWS_AT_ONCE)):
            arrays = [
                pa.array(values, field.type)
                for values, field in zip(zip(*some, strict=True), schema, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
            count += len(some)
    return count


def _field(column: Column) -> pa.Field:
    metadata = {"unit": column.unit, "description": column.description}
    return pa.field(column.name, TYPES[column.type], metadata=metadata)


def _told(column: Column) -> dict[str, str]:
    return column._asdict()
