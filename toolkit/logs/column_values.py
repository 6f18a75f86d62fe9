"""The numbers of a column as a quantity: what stands for "no value" out, an offset on.

Both are decided in the review by a person; nothing here is guessed.
"""

from dataclasses import replace

import numpy as np

from toolkit import units
from toolkit.logs.question import LogError
from toolkit.logs.unit_names import inside

# An offset is a difference, which for some kinds has another zero.
_DIFFERENCES = {
    "temperature": "temperature_difference",
    "pressure": "boost",
    "barometer": "boost",
}


def without_sentinels(reading, review):
    """(the reading with the review's sentinels as NaN, {column: how many cells that were}).

    A sentinel is a number that a logger writes where it has none, such as "9999" or "-40, 9999".
    Raises LogError for one that is no number.
    """
    counts, frame = {}, reading.frame
    for column in reading.columns:
        text = review.of_column(column.name, "sentinel")
        if text:
            hit = np.isin(reading.values(column.name), _sentinels(text, column.name))
            counts[column.name] = int(hit.sum())
            frame = frame.assign(**{column.id: frame[column.id].mask(hit)})
    return replace(reading, frame=frame), counts


def _sentinels(text, name):
    try:
        numbers = [float(part) for part in text.split(",")]
    except ValueError:
        numbers = [np.nan]
    if not np.isfinite(numbers).all():  # "nan" is equal to no cell, so it would never be found
        raise LogError(
            f"the review gives column '{name}' the sentinel '{text}': write numbers, like 9999"
        )
    return numbers


def quantity(settled, reading, review):
    """The column's values in the inside unit of its kind, with its offset."""
    values = inside(reading.values(settled.column), settled.unit, settled.kind)
    text = review.of_column(settled.column, "offset")
    if not text:
        return values
    try:
        return values + units.parse(text, _DIFFERENCES.get(settled.kind, settled.kind))
    except units.UnitError as error:
        raise LogError(f"the offset of column '{settled.column}': {error}") from None
