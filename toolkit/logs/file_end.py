"""The end of a text file: a last number that was cut short is no number."""

import codecs
import re
from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit.logs import dialect
from toolkit.logs.question import Decided, LogError
from toolkit.logs.reading import rejects

TAIL_BYTES = 1024 * 1024  # eleven lines of a log with thousands of columns
ROWS_ABOVE = 10


def without_cut_end(reading, path, code, separator):
    """The reading without its last number, where the file seems to end in the middle of it.

    That is where no line end follows and its text is shorter than in every one of the ten rows
    above; the reading's decisions then say so, and the cell stands among the rejected. A last row
    with too few cells is left out by the reader in any case.
    """
    tail = _tail(path, code).rstrip("\0")
    if tail.endswith(("\n", "\r")):
        return reading
    lines = re.split(r"\r\n|\r|\n", tail)[-ROWS_ABOVE - 1 :]
    if not lines[-1].strip() or min(len(lines), len(reading.frame)) <= ROWS_ABOVE:
        return reading
    try:
        *above, last = (row.cells for row in dialect.split(lines, separator))
    except LogError:  # the tail begins inside a quoted cell
        return reading
    column, row = f"c{len(last) - 1}", reading.frame.index[-1]
    alike = len(above) == ROWS_ABOVE and all(len(cells) == len(last) for cells in above)
    if not alike or not 0 < len(last[-1]) < min(len(cells[-1]) for cells in above):
        return reading
    if column not in reading.frame or np.isnan(reading.frame[column].iloc[-1]):
        return reading
    values = reading.frame[column].to_numpy(copy=True)
    values[-1] = np.nan
    frame = reading.frame.assign(**{column: values})
    name = next(c.name for c in reading.columns if c.id == column)
    why = (
        f"no line end follows '{last[-1]}' in row {row}, and it is shorter than in the "
        f"{ROWS_ABOVE} rows above: the cell is left out"
    )
    return replace(
        reading,
        frame=frame,
        rejected=pd.concat([reading.rejected, rejects([row], [name], [last[-1]])]),
        decisions=reading.decisions | {"end": Decided("cut short", why)},
    )


def _tail(path, code):
    """The last lines of a file as text, whatever its encoding."""
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(0)
        head = file.read(4)  # where a mark says how the rest is written
        file.seek(max(4, (size - TAIL_BYTES) // 4 * 4))
        tail = file.read()
    decoder = codecs.getincrementaldecoder(code)("ignore")
    return decoder.decode(head) + decoder.decode(tail)
