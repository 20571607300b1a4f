"""The curves of a batch as a Parquet file: the columns of the CSV with their types, and what batch it is."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fiftyover.errors import PlanError

WORDS = ("why", "_status")  # columns of words; all others are numbers


def write(path: Path, rows: Sequence[Sequence[Any]], about: Mapping[str, str]) -> None:
    """Write `rows` (the first holds the names, units last, as `record_view.rows_of_csv` gives them) to `path`.

    ``utc_ms`` becomes ``utc``, a point in time (UTC, milliseconds); what is missing is null. ``about`` (name to text)
    goes into the file's metadata, with the version that wrote it. PlanError if pyarrow is not installed, or if the
    file cannot be written.
    """
    try:
        import pyarrow as arrow  # noqa: PLC0415  an extra that few need
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError:
        raise PlanError(
            "Parquet needs the library pyarrow: install it with `pip install 'fiftyover[parquet]'`, or write --csv."
        ) from None
    head, *body = rows
    columns, fields = [], []
    for at, name in enumerate(head):
        values = [row[at] for row in body]
        kind, shown = arrow.float64(), name
        if name == "utc_ms":
            kind, shown = arrow.timestamp("ms", tz="UTC"), "utc"
        elif name.endswith(WORDS):
            kind = arrow.string()
        elif name == "element_on":
            kind, values = arrow.bool_(), [None if value is None else bool(value) for value in values]
        columns.append(arrow.array(values, kind))
        fields.append(arrow.field(shown, kind))
    written_by = f"fiftyover {importlib.metadata.version('fiftyover')}"
    schema = arrow.schema(fields, metadata={**about, "written_by": written_by})
    try:
        parquet.write_table(arrow.Table.from_arrays(columns, schema=schema), path)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise PlanError(f"{path} cannot be written ({why}): name another file.") from None
