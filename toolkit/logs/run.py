"""A run: one log with its review, as channels of ours in SI units and absolute pressures."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from toolkit import bench as benches
from toolkit import units
from toolkit.logs import pressure_reference
from toolkit.logs.channels import CHANNELS
from toolkit.logs.question import Decided, LogError, Question
from toolkit.logs.read import read
from toolkit.logs.reading import Reading
from toolkit.logs.review import Review
from toolkit.logs.settle import Remark, Settled, settle, standing_rows
from toolkit.logs.unit_names import inside


@dataclass(frozen=True)
class Run:
    """One log and what is known about it.

    name: relative to the bench, "runs/monday.csv". settled: per column, what it is and why.
    questions: what is still open; a channel with an open question is not in the frame.
    remarks: what is odd about the file.
    """

    name: str
    reading: Reading
    review: Review
    settled: tuple[Settled, ...]
    questions: tuple[Question, ...]
    remarks: tuple[Remark, ...]

    @classmethod
    def open(cls, bench, name, review=None):
        """The run of a log in a bench, with its saved review (or the one given).

        Raises LogError where the file cannot be read, and Unanswered, which carries a question,
        where it cannot be read before that is answered.
        """
        path = bench.file(name)
        saved = Review.load(bench, name) if review is None else review
        run = cls.of(read(path, saved.file), saved, name)
        return run._changed_outside(path)

    @classmethod
    def of(cls, reading, review=None, name=""):
        """The run of a reading, without a file."""
        review = review or Review(log=reading.source)
        return cls(name or reading.source, reading, review, *settle(reading, review))

    def answer(self, key, answer):
        """The run with one question (or any decision of the review) answered.

        key is a Question's key. Raises LogError for an answer that is none of its choices.
        """
        for question in self.questions:
            if question.key == tuple(key):
                answer = question.checked(answer)
        return self.reviewed(self.review.answered(tuple(key), answer))

    def reviewed(self, review):
        """The run under another review; the file is not read again."""
        return Run.of(self.reading, review, self.name)

    def save(self, bench):
        """Write the review, with everything that was settled, beside the log; returns the run."""
        review = self.review
        for s in self.settled:
            known = {"channel": s.channel, "unit": s.unit, "reference": s.reference}
            if s.channel and s.unit:
                review = review.with_column(
                    s.column, **{k: v for k, v in known.items() if v}, why=s.why
                )
        digest = benches.digest(bench.file(self.name))
        saved = self.reviewed(replace(review, sha256=digest))
        saved.review.save(bench, self.name)
        return saved

    @cached_property
    def barometer(self):
        """The barometer [Pa] and where it comes from, as (value, Decided); (NaN, ...) if unknown.

        Where the log has a barometer column, its mean.
        """
        return _barometer(self)

    @cached_property
    def frame(self):
        """The channels in SI, absolute pressures, then columns without a channel as they are.

        Indexed by line of the file. A gauge pressure without a known barometer stands there as
        `..._gauge_pa`.
        """
        known = [s for s in self.settled if s.channel and s.unit]
        data = {}
        for s in sorted(known, key=lambda s: list(CHANNELS).index(s.channel)):
            data.update(self._channel(s))
        for s in self.settled:
            if not s.channel and s.column not in data:
                data[s.column] = self.reading.values(s.column)
        return pd.DataFrame(data, index=self.reading.frame.index)

    @property
    def missing(self):
        """Our channels that this run does not have."""
        return tuple(c for c in CHANNELS if c not in self.frame)

    def source(self, channel):
        """What the column behind a channel is (Settled). Raises LogError if there is none."""
        for s in self.settled:
            if s.channel == channel:
                return s
        raise LogError(
            f"{self.name} has no {CHANNELS[channel].words}: log {channel}, or name its column"
        )

    def _channel(self, settled):
        values = inside(self.reading.values(settled.column), settled.unit, settled.kind)
        if settled.channel == "time_s":
            return {"time_s": _from_start(values)}
        if settled.kind == "pressure":
            return self._pressure(settled, values)
        if settled.kind == "boost" and settled.reference == "absolute":
            values = values - self.barometer[0]
        return {settled.channel: values}

    def _pressure(self, settled, values):
        if not settled.reference:
            return {}
        if settled.reference == "absolute":
            return {settled.channel: values}
        if not np.isfinite(self.barometer[0]):
            return {settled.channel.replace("_pa", "_gauge_pa"): values}
        return {settled.channel: values + self.barometer[0]}

    def _changed_outside(self, path):
        if not self.review.sha256 or self.review.sha256 == benches.digest(path):
            return self
        remark = Remark(
            f"{self.name} is no longer the file that was reviewed: check every decision."
        )
        return replace(self, remarks=(remark, *self.remarks))


def _from_start(seconds):
    """A clock of the day or of the calendar starts at 0; a counter is left as written."""
    first = seconds[np.isfinite(seconds)][:1]
    return seconds - first[0] if first.size and first[0] > 1e5 else seconds


def _barometer(run):
    review = run.review.weather.get("barometer")
    if review:
        return units.parse(review, "barometer"), Decided(review, "decided in the review")
    for s in run.settled:
        if s.channel == "p_cell_pa" and s.unit:
            mean = float(np.nanmean(inside(run.reading.values(s.column), s.unit, s.kind)))
            return mean, Decided(s.column, f"the mean of column '{s.column}'")
    stated = pressure_reference.stated_barometer(run.reading.notes)
    if stated:
        return stated[0], Decided(stated[1], "stated in the file")
    return _standing_barometer(run)


def _standing_barometer(run):
    """What an absolute sensor reads with the engine off."""
    off = standing_rows({s.column: s for s in run.settled}, run.reading)
    for s in run.settled:
        if s.kind == "pressure" and s.reference == "absolute" and s.unit and off.any():
            values = inside(run.reading.values(s.column), s.unit, s.kind)[off]
            if np.isfinite(values).any():
                level = float(np.nanmedian(values))
                return level, Decided(s.column, f"'{s.column}' in rows with the engine off")
    return np.nan, Decided("", "neither the file nor the review states it")
