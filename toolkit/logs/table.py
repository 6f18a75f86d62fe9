"""Rows of cells as numbers: the part that text files and workbooks share."""

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.logs import cells
from toolkit.logs.clock_cells import HOURS, RUNNING, Clock, kind_of
from toolkit.logs.layout import too_wide
from toolkit.logs.question import Decided, LogError, Question, Unanswered
from toolkit.logs.reading import Column, Reading, rejects, unique_names


class Rejected:
    """Cells that are no numbers, kept small: a text that comes again is stored once."""

    def __init__(self):
        self._rows, self._places, self._texts, self._known = [], [], [], {}

    def add(self, rows, place, texts):
        """Take in the texts that stand in these lines of the column at `place`, -1 for none."""
        self._rows.append(np.asarray(rows, dtype=np.int64))
        self._places.append(np.full(len(texts), place))
        self._texts += [self._known.setdefault(t, t) for t in texts]

    def counts(self):
        """How many cells by place of the column."""
        return Counter(np.concatenate([[], *self._places]).astype(int).tolist())

    def frame(self, names):
        """The frame of a Reading; names: by place."""
        rows, places = (np.concatenate([[], *x]).astype(int) for x in (self._rows, self._places))
        order = np.lexsort((places, rows))
        return rejects(
            rows[order], [names[p] for p in places[order]], [self._texts[k] for k in order]
        )


@dataclass
class Table:
    """Numbers by column, the rejected cells, and the clocks by place of their column."""

    frame: pd.DataFrame
    rejected: Rejected
    clocks: dict[int, Clock]


class Gathered:
    """A table put together from rows, piece by piece."""

    def __init__(self, form, kinds, name):
        self.width, self.mark, self.name = form.layout.width, form.decimal_mark, name
        self.separator = form.separator.value
        self.clocks = {i: Clock(kind) for i, kind in kinds.items()}
        self.rejected, self.short = Rejected(), 0
        self._pieces, self._lines = [np.empty((0, self.width))], [np.empty(0, dtype=np.int64)]

    def add(self, rows):
        """Take in more rows. Raises LogError for one with more cells than the header."""
        whole = []
        for row in rows:
            if any(row.cells[self.width :]):
                raise too_wide(self.name, row, self.width, self.separator)
            if len(row.cells) < self.width:
                self.short += 1
                text = f"{len(row.cells)} of {self.width} cells: {' | '.join(row.cells)[:80]}"
                self.rejected.add([row.line], -1, [text])
            else:
                whole.append(row)
        lines = np.array([row.line for row in whole], dtype=np.int64)
        self._lines.append(lines)
        self._pieces.append(self._numbers(whole, lines))

    def table(self):
        """All rows so far. Raises LogError where most of them did not fit the header."""
        data = np.concatenate(self._pieces)
        if self.short > len(data):
            raise LogError(
                f"{self.name}: most rows have fewer than the {self.width} cells of the header"
            )
        index = pd.Index(np.concatenate(self._lines), name="row")
        frame = pd.DataFrame(data, index=index, columns=[f"c{i}" for i in range(self.width)])
        return Table(frame, self.rejected, self.clocks)

    def _numbers(self, rows, lines):
        data = np.full((len(rows), self.width), np.nan)
        for i in range(self.width):
            texts = [row.cells[i] for row in rows]
            if i in self.clocks:
                bad = self.clocks[i].add(texts)
            else:
                data[:, i], bad = cells.numbers(texts, self.mark)
            self.rejected.add(lines[bad], i, [texts[place] for place in bad])
        return data


def clock_kinds(form, answers):
    """How each column of times is written, by place. Raises Unanswered where that is open."""
    found = {}
    for i in form.layout.clocks:
        header = form.layout.header[i]
        texts = [r.cells[i] for r in form.rows[form.layout.first :] if i < len(r.cells)]
        found[i] = kind_of(texts, header) or answers.get("clock", "")
        if not found[i]:
            sample = next(t for t in texts if cells.is_time(t))
            raise Unanswered(_clock_question(header, sample))
    return found


def _clock_question(header, sample):
    first, second = sample.split(":")
    choices = ((RUNNING, f"{first} min {second} s"), (HOURS, f"{first} h {second} min"))
    sentence = f"How is the time in '{header}' written?"
    return Question(("file", "clock"), sentence, choices, f"'{sample}' could be two things.")


def reading_of(name, form, table, notes, decisions, answers):
    """The Reading of a table."""
    layout, frame = form.layout, table.frame
    for i, clock in table.clocks.items():
        frame[f"c{i}"] = clock.seconds(_date_order(clock, layout.header[i], answers))
    spoiled = table.rejected.counts()
    kept = _kept(layout, table, spoiled)
    names = unique_names([layout.header[i] for i in kept])
    columns = tuple(
        _column(i, n, layout, table, spoiled[i]) for i, n in zip(kept, names, strict=True)
    )
    shown = dict(zip(kept, names, strict=True)) | {-1: ""}
    rejected = table.rejected.frame(shown)
    return Reading(
        name, columns, frame[[c.id for c in columns]], notes, rejected, decisions | _heading(form)
    )


def _date_order(clock, header, answers):
    order = clock.order() or answers.get("date_order")
    if order in ("day", "month"):
        return order
    choices = (("day", "the day comes first"), ("month", "the month comes first"))
    sentence = f"How are the dates in '{header}' written?"
    raise Unanswered(
        Question(("file", "date_order"), sentence, choices, "Both orders are possible throughout.")
    )


def _kept(layout, table, used):
    """Columns without those that have neither a name nor a cell."""
    return [
        i
        for i in range(layout.width)
        if layout.header[i] or i in used or table.frame[f"c{i}"].notna().any()
    ]


def _column(i, name, layout, table, spoiled):
    clock = table.clocks[i].kind if i in table.clocks else ""
    empty = int(table.frame[f"c{i}"].isna().sum()) - spoiled
    return Column(f"c{i}", name, layout.header[i], layout.units[i], clock, empty)


def _heading(form):
    """The decisions about header and units row."""
    layout, first = form.layout, form.rows[form.layout.first].line
    if not layout.header_line:
        return {"header": Decided("none", f"row {first}, the first, holds numbers already")}
    why = f"the last row of names above the numbers, which start in row {first}"
    found = {"header": Decided(str(layout.header_line), why)}
    if layout.units_line:
        found["units"] = Decided(str(layout.units_line), "every cell in that row is a unit")
    return found
