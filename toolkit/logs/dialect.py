"""How a text file is written: what separates its cells and which mark is the decimal one."""

import csv
import re
from dataclasses import dataclass

from toolkit.logs import cells
from toolkit.logs.channels import match
from toolkit.logs.layout import Layout, Row, find_layout, too_wide
from toolkit.logs.question import Decided, LogError, Question, Unanswered

SEPARATORS = {"semicolon": ";", "tab": "\t", "bar": "|", "comma": ",", "blank": " ", "none": ""}
_SAID = re.compile(r"(?i)^\"?sep=(.)\"?$")  # a first line that states the separator
_QUIET_RPM, _FAST_RPM = 500.0, 40e3  # an engine under test passes the one, never the other


@dataclass(frozen=True)
class Dialect:
    """How a text file is written, with the layout of its table."""

    separator: Decided
    decimal: Decided
    layout: Layout
    rows: tuple[Row, ...]

    @property
    def decimal_mark(self):
        """ "." or ","."""
        return cells.MARKS[self.decimal.value]

    def grouped(self):
        """The mark that groups digits in the sample, with a cell that shows it, or None."""
        for row in self.rows[self.layout.first :]:
            for cell in row.cells:
                mark = cells.grouping(cell, self.decimal_mark)
                if mark:
                    return Decided(mark, f"'{cell}' in row {row.line}")
        return None


def split(lines, separator, start=1):
    """Rows of cells from lines of text, the first of which is line `start`; blank rows left out.

    Raises LogError where quotes do not pair up or a cell is absurdly long.
    """
    if separator in ("blank", "none"):
        yield from _split_plain(lines, separator, start)
        return
    reader = csv.reader(lines, delimiter=SEPARATORS[separator])
    line = start
    try:
        for raw in reader:
            row = Row(line, tuple(c.strip() for c in raw))
            line = start + reader.line_num
            if any(row.cells):
                yield row
    except csv.Error as error:
        raise LogError(f"row {line} cannot be taken apart: {error}") from None


def _split_plain(lines, separator, start):
    for line, text in enumerate(lines, start):
        text = text.strip()
        if text:
            yield Row(line, tuple(text.split()) if separator == "blank" else (text.strip('"'),))


def find_dialect(lines, name, answers, further=()):
    """How these first lines of a file are written. `answers` settle what was asked before.

    further: the rows after these (an iterable, or nothing if these are all), which are looked
    at only as far as it takes to know the decimal mark.

    Raises Unanswered with a question where two readings are plausible, and LogError where there
    is no table or its rows do not fit its header.
    """
    separator, layout, rows = _separator(lines, name, answers)
    decimal = _decimal(rows, layout, separator.value, answers, further)
    return Dialect(separator, decimal, layout, tuple(rows))


def _separator(lines, name, answers):
    readings = {}
    wanted = answers.get("separator") or _stated(lines)
    for separator in SEPARATORS:
        if wanted in (None, separator):
            try:
                rows = list(split(lines, separator))
            except LogError:
                continue
            layout = find_layout(rows)
            if layout:
                readings[separator] = (layout, rows)
    if not readings:
        raise LogError(f"{name} has no rows of numbers: is it a log, and was it saved to the end?")
    chosen, why = _best(readings, lines, name)
    return Decided(chosen, why), *readings[chosen]


def _stated(lines):
    found = _SAID.match(lines[0].strip()) if lines else None
    return next((k for k, v in SEPARATORS.items() if found and v == found.group(1)), None)


def _best(readings, lines, name):
    """The one separator under which the rows form a table, and why."""
    even = {s: r for s, (r, _) in readings.items() if r.even > 0.5 and not r.wide and r.width > 1}
    if not even:
        return _single(readings, name)
    most = max(r.share for r in even.values())
    fitting = {s: r for s, r in even.items() if r.share > most - 0.02 and r.share > 0.3}
    if "tab" in fitting:  # a tab is never part of a number, so it is no accident
        fitting.pop("blank", None)
    alone = readings["none"][0] if "none" in readings else None
    if alone and alone.share > most - 0.02 and not any(r.header_line for r in fitting.values()):
        fitting["none"] = alone
    named = {s: r for s, r in fitting.items() if r.header_line}  # a header explains more lines
    fitting = named or fitting
    if len(fitting) == 1:
        chosen, layout = next(iter(fitting.items()))
        return chosen, f"every row then has the {layout.width} cells of the header"
    if not fitting:
        return _single(readings, name)
    raise Unanswered(_separator_question(fitting, readings))


def _separator_question(fitting, readings):
    choices = []
    for separator, layout in fitting.items():
        row = readings[separator][1][layout.first]
        choices.append((separator, f"row {row.line} is then {' | '.join(row.cells)}"))
    return Question(
        ("file", "separator"),
        "What separates the cells of this file?",
        tuple(choices),
        "More than one mark gives an even table.",
    )


def _single(readings, name):
    """One column alone, or the reason why the rows form no table."""
    wide = {s: r for s, (r, _) in readings.items() if r.wide and r.width > 1}
    if wide:
        separator = max(wide, key=lambda s: (wide[s].share, wide[s].width))
        layout = wide[separator]
        raise too_wide(name, layout.wide, layout.width, separator)
    alone = readings.get("none", (None, None))[0]
    if not alone or alone.share < 0.3 or re.search(r"[;,\t|]", "".join(alone.header)):
        raise LogError(f"{name} has no table whose rows fit its header")
    return "none", "there is one column"


def _decimal(rows, layout, separator, answers, further):
    if answers.get("decimal") in cells.MARKS:
        return Decided(answers["decimal"], "answered")
    evidence = Marks()
    data = rows[layout.first :]
    evidence.add(data)
    for piece in further(separator) if further and not evidence.proof else ():
        evidence.add(piece)
        if evidence.proof:
            break
    found = evidence.proven() or _by_speed(data, layout) or evidence.indirect()
    if not found:
        sample = next(iter(evidence.open.values()))
        raise Unanswered(_decimal_question(f"'{sample}' could be {_both(sample)}."))
    return found


class Marks:
    """What the cells of a file prove about its decimal mark, gathered row by row."""

    def __init__(self):
        self.proof = {}  # the mark proven decimal: the cell that proves it
        self.open = {}  # a mark that could be either: a cell that has it
        self.plain = ""  # a whole number of four digits without a mark

    def add(self, rows):
        """Look at more rows."""
        for row in rows:
            for cell in row.cells:
                if ("." in cell or "," in cell or len(cell) > 3) and cells.is_number(cell):
                    self._look(cells.plain(cell), row.line)

    def _look(self, cell, line):
        marks = re.findall(r"[.,]", cell)
        where = f"'{cell}' in row {line}"
        if not marks:
            if re.fullmatch(r"[+-]?\d{4,}", cell):
                self.plain = self.plain or where
        elif len(set(marks)) == 2:
            self.proof.setdefault(marks[-1], where)
        elif len(marks) > 1:
            self.proof.setdefault("." if marks[0] == "," else ",", where)
        elif re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", cell):
            self.open.setdefault(marks[0], cell)
        else:
            self.proof.setdefault(marks[0], where)

    def proven(self):
        """The decimal mark, if a cell can be read in one way only; None if none can.

        Raises Unanswered where two cells prove two marks.
        """
        if len(self.proof) == 2:
            both = f"{self.proof['.']} has a decimal point, {self.proof[',']} a decimal comma."
            raise Unanswered(_decimal_question(both))
        for mark, cell in self.proof.items():
            return Decided(_named(mark), f"{cell} can be read no other way")
        return None

    def indirect(self):
        """The decimal mark by what is not there: no mark, or thousands without one."""
        if not self.open:
            return Decided("point", "no cell has a decimal mark")
        if len(self.open) == 1 and self.plain:
            mark = next(iter(self.open))
            return Decided(_named(mark), f"{self.plain} shows that thousands are not marked")
        return None


def _named(mark):
    return "point" if mark == "." else "comma"


def _by_speed(data, layout):
    """The decimal mark without which the engine speed is impossible, or None."""
    for i in _speeds(layout):
        texts = [r.cells[i] for r in data if i < len(r.cells)]
        peaks = {k: _peak(texts, mark) for k, mark in cells.MARKS.items()}
        fast = [k for k, peak in peaks.items() if _QUIET_RPM <= peak <= _FAST_RPM]
        if len(fast) == 1:
            slow = min(peaks.values())
            return Decided(fast[0], f"otherwise '{layout.header[i]}' never passes {slow:g} rpm")
    return None


def _speeds(layout):
    found = [match(h, u) for h, u in zip(layout.header, layout.units, strict=True)]
    return [i for i, m in enumerate(found) if m.channel == "speed_rpm" and m.unit in ("", "rpm")]


def _peak(texts, mark):
    return max((v for t in texts if (v := cells.number(t, mark)) is not None), default=0.0)


def _both(sample):
    readings = sorted({cells.number(sample, m) for m in cells.MARKS.values()})
    return " or ".join(f"{v:.10g}" for v in readings)


def _decimal_question(evidence):
    return Question(
        ("file", "decimal"),
        "Which is the decimal mark of this file?",
        (("point", "the decimal point: 1.5"), ("comma", "the decimal comma: 1,5")),
        evidence,
    )
