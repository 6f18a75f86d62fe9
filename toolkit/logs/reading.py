"""A log as the file has it: numbers, names and notes, before anybody says what they mean."""

from dataclasses import dataclass, field

import pandas as pd

from toolkit.logs.question import Decided


@dataclass(frozen=True)
class Column:
    """A column of the file.

    id: its name in the frame (c0, c1 ...), safe and unique. name: unique and readable; the
    header, or "Boost (2)" where a header stands twice. header, unit: as written, "" if absent.
    clock: "" for plain numbers, else how a time was written ("time of day", "minutes:seconds").
    empty: how many cells have nothing in them.
    """

    id: str
    name: str
    header: str
    unit: str = ""
    clock: str = ""
    empty: int = 0


@dataclass(frozen=True)
class Note:
    """A line of the file that is not part of the table; 1-based line number."""

    line: int
    text: str


def rejects(rows=(), columns=(), texts=()):
    """The frame of rejected cells: the row, the column's name and the text of each."""
    frame = pd.DataFrame({"row": list(rows), "column": list(columns), "text": list(texts)})
    return frame.astype({"row": "int64", "column": "object", "text": "object"})


@dataclass(frozen=True)
class Reading:
    """What a file says.

    frame: float64, columns named by `Column.id`, indexed by the 1-based line (or sheet row) of
    the file; a cell that is empty or no number is NaN. rejected: a frame of row, column (its
    name; "" for a whole row) and text, for every cell that is neither empty nor a number.
    decisions: what was settled about the file ("decimal", "separator" ...), with evidence.
    """

    source: str
    columns: tuple[Column, ...]
    frame: pd.DataFrame
    notes: tuple[Note, ...] = ()
    rejected: pd.DataFrame = field(default_factory=rejects)
    decisions: dict[str, Decided] = field(default_factory=dict)

    def column(self, name):
        """The column with this name. Raises KeyError with the names there are."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(f"no column {name!r}: there are {[c.name for c in self.columns]}")

    def values(self, name):
        """The numbers of a column, by name."""
        return self.frame[self.column(name).id].to_numpy()

    @property
    def pairs(self):
        """Keys and values found in the notes, such as {"barometer": "14.2 psi"}."""
        return dict(p for note in self.notes if (p := _pair(note.text)))

    @property
    def repeated(self):
        """Headers that stand over more than one column."""
        headers = [c.header for c in self.columns if c.header]
        return tuple(sorted({h for h in headers if headers.count(h) > 1}))


def _pair(text):
    """The key and value of a line like '# Motor: V8' or 'Motor;V8;', or None."""
    for mark in (":", "=", "\t", ";", ","):
        key, found, value = text.strip("#%/;!\t ,").partition(mark)
        if found and key.strip() and value.strip(" ;,\t"):
            return key.strip().strip('"'), value.strip(' ;,\t"')
    return None


def unique_names(headers):
    """Readable names, each different: 'Boost', 'Boost (2)'.

    >>> unique_names(["Boost", "Boost", "Boost (2)", ""])
    ['Boost', 'Boost (3)', 'Boost (2)', 'column 4']
    """
    taken, names, written = set(), [], {h for h in headers if h}
    for place, header in enumerate(headers, start=1):
        base = name = header or f"column {place}"
        count = 1
        while name in taken or (name != header and name in written):
            count += 1
            name = f"{base} ({count})"
        taken.add(name)
        names.append(name)
    return names
