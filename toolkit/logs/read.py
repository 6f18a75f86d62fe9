"""From a file to a Reading."""

from pathlib import Path

import pandas as pd

from toolkit.logs.question import Decided, LogError
from toolkit.logs.reading import Column, Reading, unique_names


def read(path, answers=None):
    """The Reading of a log file (a clean CSV)."""
    path = Path(path)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        raise LogError(f"{path.name} cannot be opened: {error.strerror}") from None
    from toolkit.logs.reading import Note

    notes = tuple(Note(n, t) for n, t in enumerate(lines, 1) if t.startswith("#"))
    table = pd.read_csv(path, engine="pyarrow", skiprows=len(notes), encoding="utf-8-sig")
    headers = [str(c).strip() for c in table.columns]
    names = unique_names(headers)
    columns = tuple(
        Column(f"c{i}", n, h) for i, (n, h) in enumerate(zip(names, headers, strict=True))
    )
    table.columns = [c.id for c in columns]
    table = table.astype(float)
    table.index = pd.RangeIndex(len(notes) + 2, len(notes) + 2 + len(table), name="row")
    return Reading(path.name, columns, table, notes, decisions={"separator": Decided(",", "")})
