"""MDF, the open ASAM measurement format, through its library, which is an optional extra.

A file holds groups of channels, each with a clock of its own. One group is a log as it stands.
Several are asked about: one of them, or all on the clock of the fastest, on straight lines
between a group's own samples.
"""

import gc
import logging
import sys
import traceback
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.logs import cells
from toolkit.logs.clocks import resampled
from toolkit.logs.question import Decided, LogError, Question, Unanswered
from toolkit.logs.reading import Column, Note, Reading, rejects, unique_names

CELLS = 200_000_000  # 1.6 GB of numbers
ELEMENTS = 500  # of an array; more is a picture, not a channel
ALL = "all"
_TIME = 1  # the standard's number for a clock, as against an angle or a distance
_TO_TEXT = (7, 8)  # the standard's conversions from a value, or a range of values, to a text


@dataclass(frozen=True)
class Group:
    """One group: its number, times from the start of the measurement [s], and channels.

    channels: (name, unit, values) with one value per time; rejected: (row from 1, name, text).
    notes: what was left out, in words.
    """

    number: int
    time_s: np.ndarray
    channels: tuple
    rejected: tuple = ()
    notes: tuple[str, ...] = ()

    @property
    def words(self):
        """The group in a few words: rate and some names."""
        names = [name for name, _, _ in self.channels]
        more = ", ..." if len(names) > 3 else ""
        steps = np.diff(self.time_s)
        step = np.median(steps) if steps.size else 0.0
        rate = f"{1 / step:.4g} Hz" if step > 0 else "no steady clock"
        return f"{len(names)} channels at {rate}: {', '.join(names[:3])}{more}"


def read_mdf(path, answers):
    """The Reading of an MDF file. Raises Unanswered where it has several groups."""
    groups, notes = read_groups(path)
    chosen, why = _choice(groups, path.name, answers)
    if chosen == ALL:
        return _reading(path.name, _merged(groups), notes, Decided(ALL, why))
    group = next(g for g in groups if str(g.number) == chosen)
    return _reading(path.name, group, notes, Decided(chosen, why))


def read_groups(path):
    """(the groups that hold numbers, notes about the file).

    Times keep their offsets. An array becomes a column per element, "name[0]"; a number with a
    text for it stays a number; another text is listed as rejected; a value that the file marks as
    invalid is NaN. Raises LogError where the library is absent or the file damaged.
    """
    library = _library(path.name)
    with _quiet_destructors():
        try:
            with library.MDF(str(path)) as file:
                _refuse_absurd(file, path.name)
                groups = [_group(file, number) for number in range(len(file.groups))]
                notes = (Note(0, f"started: {file.start_time.isoformat(sep=' ')}"),)
        except LogError:
            raise
        except Exception as error:  # the library raises whatever a damaged file provokes
            kind = type(error).__name__
            traceback.clear_frames(error.__traceback__)
            gc.collect()  # now, while its destructor is quiet
            raise LogError(f"{path.name} is damaged, or too large to open ({kind})") from None
    groups = tuple(g for g in groups if g and g.channels)
    if not groups:
        raise LogError(f"{path.name} has no channel of numbers on a clock")
    return groups, notes


@contextmanager
def _quiet_destructors():
    """The library's half-open files complain once more when they are dropped; once is enough."""
    hook, sys.unraisablehook = sys.unraisablehook, lambda _: None
    try:
        yield
    finally:
        sys.unraisablehook = hook


def _library(name):
    try:
        import asammdf
    except ImportError:
        raise LogError(
            f"{name} is an MDF file, which needs an extra library: run pip install asammdf"
        ) from None
    logging.getLogger("asammdf").setLevel(logging.CRITICAL)
    return asammdf


def _refuse_absurd(file, name):
    count = sum(g.channel_group.cycles_nr * len(g.channels) for g in file.groups)
    if count > CELLS:
        raise LogError(f"{name} claims {count / 1e6:.0f} million values: cut the log into parts")


def _group(file, number):
    """One group, or None for one without samples or without a clock."""
    group = file.groups[number]
    master = file.masters_db.get(number)
    if not group.channel_group.cycles_nr or master is None:
        return None
    if group.channels[master].sync_type != _TIME:
        return None
    wanted = [i for i in range(len(group.channels)) if i != master]
    if not wanted:
        return None
    found = file.select([(None, number, i) for i in wanted], ignore_value2text_conversions=True)
    time_s = np.asarray(file.get_master(number), dtype=float)
    channels, rejected, notes = [], [], []
    for i in wanted:
        conversion = group.channels[i].conversion
        if conversion is not None and conversion.conversion_type in _TO_TEXT:
            notes.append(f"'{group.channels[i].name}' is the number behind its texts")
    for signal in found:
        try:
            for name, values, bad in _columns(signal):
                channels.append((name, signal.unit or "", values))
                rejected += [(place + 1, name, text) for place, text in bad]
        except _NotNumbers as reason:
            notes.append(f"'{signal.name}' {reason}: left out")
    return Group(number, time_s, tuple(channels), tuple(rejected), tuple(notes))


class _NotNumbers(Exception):
    pass


def _columns(signal):
    """(name, values, [(place, text) rejected]) of a signal: one, or one per element."""
    samples = signal.samples
    if samples.dtype.names:  # an array with its axes: the first field is the array
        samples = samples[samples.dtype.names[0]]
    if samples.dtype.kind in "SUO" and samples.ndim == 1:
        return [(signal.name, *_texts(samples))]
    if samples.dtype.kind not in "biuf":
        raise _NotNumbers(f"holds {samples.dtype}, not numbers")
    values = samples.astype(float)
    if values.ndim == 1:
        values, huge = cells.usable(values)
    if signal.invalidation_bits is not None:
        values[np.asarray(signal.invalidation_bits, dtype=bool)] = np.nan
    if values.ndim == 1:
        return [(signal.name, values, [(int(k), repr(float(samples[k]))) for k in huge])]
    flat = values.reshape(len(values), -1)
    if flat.shape[1] > ELEMENTS:
        raise _NotNumbers(f"is an array of {flat.shape[1]} elements")
    places = np.ndindex(values.shape[1:])
    return [
        (signal.name + "".join(f"[{k}]" for k in place), flat[:, i], ())
        for i, place in enumerate(places)
    ]


def _texts(samples):
    texts = [
        t.decode("utf-8", "replace") if isinstance(t, bytes) else str(t) for t in samples.tolist()
    ]
    texts = [t.strip("\0 ") for t in texts]
    values, bad = cells.numbers(texts, ".")
    return values, [(place, texts[place]) for place in bad]


def _choice(groups, name, answers):
    known = {str(g.number) for g in groups} | {ALL}
    wanted = answers.get("group")
    if wanted in known:
        return wanted, "answered"
    if len(groups) == 1:
        return str(groups[0].number), "the only group with numbers"
    choices = [(str(g.number), g.words) for g in groups]
    fastest = _fastest(groups)
    choices.append((ALL, f"every channel on the clock of group {fastest.number}, on lines between"))
    question = f"{name} has {len(groups)} groups, each with its own clock: which is the log?"
    raise Unanswered(Question(("file", "group"), question, tuple(choices)))


def _fastest(groups):
    return max(groups, key=lambda g: len(g.time_s))


def _merged(groups):
    """All channels on the fastest group's clock."""
    base = _fastest(groups)
    channels, rejected, notes = list(base.channels), list(base.rejected), list(base.notes)
    for group in groups:
        if group is base:
            continue
        times, first = np.unique(group.time_s, return_index=True)
        channels += [
            (name, unit, resampled(times, values[first], base.time_s))
            for name, unit, values in group.channels
        ]
        notes += group.notes
        notes += [f"group {group.number}, row {r}: '{n}' is '{t}'" for r, n, t in group.rejected]
    return Group(base.number, base.time_s, tuple(channels), tuple(rejected), tuple(notes))


def _reading(name, group, notes, decided):
    headers = ["time", *(n for n, _, _ in group.channels)]
    names = unique_names(headers)
    readable = dict(zip(headers, names, strict=True))  # of equal names the last, as rejected
    data = {"c0": group.time_s}
    columns = [Column("c0", "time", "time", "s")]
    for i, ((header, unit, values), shown) in enumerate(
        zip(group.channels, names[1:], strict=True), start=1
    ):
        data[f"c{i}"] = values
        columns.append(Column(f"c{i}", shown, header, unit, empty=int(np.isnan(values).sum())))
    index = pd.RangeIndex(1, len(group.time_s) + 1, name="row")
    return Reading(
        name,
        tuple(columns),
        pd.DataFrame(data, index=index),
        (*notes, *(Note(0, text) for text in group.notes)),
        rejects(*zip(*((r, readable[h], t) for r, h, t in group.rejected), strict=True)),
        {"form": Decided("MDF", "the file starts with its name"), "group": decided},
    )
