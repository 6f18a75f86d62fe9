"""Parquet: columns that are numbers already, with their types stated by the file."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from toolkit.logs import cells
from toolkit.logs.question import Decided, LogError
from toolkit.logs.reading import Column, Note, Reading, rejects, unique_names

CELLS = 200_000_000  # 1.6 GB of numbers: ten million rows of twenty channels


def read_parquet(path, answers):
    """The Reading of a Parquet file. Rows count from 1."""
    try:
        with pq.ParquetFile(path) as file:
            _refuse_absurd(file.metadata, path.name)
            table = file.read()
    except (pa.ArrowException, OSError) as error:
        reason = str(error).splitlines()[0][:120]
        raise LogError(f"{path.name} is damaged or not Parquet: {reason}") from None
    return _reading(table, path.name)


def _refuse_absurd(metadata, name):
    count = metadata.num_rows * metadata.num_columns
    if count > CELLS:
        raise LogError(f"{name} holds {count / 1e6:.0f} million cells: cut the log into parts")
    if not count:
        raise LogError(f"{name} has columns but no rows")


def _reading(table, name):
    data, clocks, rejected, notes = {}, {}, [], []
    names = unique_names(table.column_names)
    for i, column in enumerate(table.columns):
        try:
            data[f"c{i}"], clocks[i], bad = _values(column)
        except _NotNumbers:
            notes.append(Note(0, f"column '{names[i]}' holds {column.type}, not numbers: left out"))
            continue
        rejected += [(place + 1, names[i], text) for place, text in bad]
    if not data:
        raise LogError(f"{name} has no column of numbers")
    index = pd.RangeIndex(1, table.num_rows + 1, name="row")
    frame = pd.DataFrame(data, index=index, copy=False)
    columns = tuple(
        Column(
            f"c{i}",
            names[i],
            table.column_names[i],
            clock=clocks[i],
            empty=table.column(i).null_count,
        )
        for i in clocks
    )
    return Reading(
        name,
        columns,
        frame,
        tuple(notes),
        rejects(*zip(*rejected, strict=True)),
        {"form": Decided("parquet", "the file starts with PAR1")},
    )


class _NotNumbers(Exception):
    pass


def _values(column):
    """(float64 values, how a time was written, [(place, text) rejected])."""
    kind = column.type
    if pa.types.is_timestamp(kind) or pa.types.is_duration(kind) or pa.types.is_time(kind):
        return _seconds(column, kind), "a time by its type", []
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        texts = ["" if t is None else t for t in column.to_pylist()]
        values, bad = cells.numbers(texts, ".")
        return values, "", [(place, texts[place]) for place in bad]
    if not (
        pa.types.is_integer(kind)
        or pa.types.is_floating(kind)
        or pa.types.is_boolean(kind)
        or pa.types.is_decimal(kind)
    ):
        raise _NotNumbers
    wide = column.cast(pa.int8()) if pa.types.is_boolean(kind) else column
    stored = wide.cast(pa.float64(), safe=False).to_numpy()
    values, bad = cells.usable(stored)
    return values, "", [(int(place), repr(float(stored[place]))) for place in bad]


def _seconds(column, kind):
    if pa.types.is_time32(kind):
        column = column.cast(pa.int32())
    per_second = {"s": 1, "ms": 1e3, "us": 1e6, "ns": 1e9}[kind.unit]
    whole = column.cast(pa.int64())
    missing = whole.is_null().to_numpy()
    return np.where(missing, np.nan, whole.fill_null(0).to_numpy() / per_second)
