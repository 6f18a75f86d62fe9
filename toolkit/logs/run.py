"""A run: one log with its review, as channels of ours in SI units and absolute pressures."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from toolkit import bench as benches
from toolkit.logs import barometer as barometers
from toolkit.logs.channels import CHANNELS, gauge_name
from toolkit.logs.column_values import quantity, without_sentinels
from toolkit.logs.delays import delay_s, undelayed
from toolkit.logs.question import LogError, Question
from toolkit.logs.read import read
from toolkit.logs.reading import Reading
from toolkit.logs.remarks import Remark, remarks_on
from toolkit.logs.review import Review
from toolkit.logs.settle import settle, standing_rows
from toolkit.logs.settled import Settled

_FROM_MIDNIGHT = 1e5  # s; a counter that is past a day is a calendar's


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
    settled: tuple[Settled, ...] = ()
    questions: tuple[Question, ...] = ()
    remarks: tuple[Remark, ...] = ()

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
        run = cls(name or reading.source, reading, review or Review(log=reading.source))
        settled, questions, remarks = settle(run._cleaned[0], run.review)
        run = replace(run, settled=settled)
        remarks = (*run._absent(), *remarks, *remarks_on(run.frame))
        return replace(run, questions=(*questions, *run._barometer_question()), remarks=remarks)

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
            known = {"channel": s.channel, "unit": s.unit, "reference": s.reference, "why": s.why}
            if s.channel and s.unit:
                review = review.with_column(s.column, **{k: v for k, v in known.items() if v})
        digest = benches.digest(bench.file(self.name))
        saved = self.reviewed(replace(review, sha256=digest))
        return replace(saved, review=saved.review.save(bench, self.name))

    @cached_property
    def barometer(self):
        """The barometer [Pa] and where it comes from, as (value, Decided); (NaN, ...) if unknown.

        The review counts before the log's own column (its mean), the preamble, and what an
        absolute sensor reads with the engine off.
        """
        reading = self._cleaned[0]
        found = barometers.stated(self.settled, reading, self.review)
        if np.isfinite(found[0]):
            return found
        off = standing_rows(self.settled, reading)
        return barometers.at_rest(self.settled, reading, self.review, off)

    @cached_property
    def frame(self):
        """The channels in SI, absolute pressures, then columns without a channel as they are.

        Indexed by line of the file. A gauge pressure without a known barometer stands there as
        `..._gauge_pa`. A sensor with a delay in the review is put back to when things happened.
        """
        known = [s for s in self.settled if s.channel and s.unit]
        data = {}
        for s in sorted(known, key=lambda s: list(CHANNELS).index(s.channel)):
            name, values = self._channel(s)
            if name:
                data[name] = self._on_time(s, values, data)
        reading = self._cleaned[0]
        for s in self.settled:
            if not s.channel and s.column not in data:
                data[s.column] = reading.values(s.column)
        return pd.DataFrame(data, index=reading.frame.index)

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

    @cached_property
    def _cleaned(self):
        return without_sentinels(self.reading, self.review)

    def _absent(self):
        for column, count in self._cleaned[1].items():
            sentinel = self.review.of_column(column, "sentinel")
            yield Remark(f"'{column}': {count} cells hold {sentinel}, which means no value here.")

    def _quantity(self, settled):
        return quantity(settled, self._cleaned[0], self.review)

    def _channel(self, settled):
        """The name in the frame and the values; "" for a pressure without a reference."""
        values = self._quantity(settled)
        if settled.channel == "time_s":
            return "time_s", _from_start(values, self.reading.column(settled.column).clock)
        if settled.kind == "boost" and settled.reference == "absolute":
            return settled.channel, values - self.barometer[0]
        if settled.kind != "pressure" or settled.reference == "absolute":
            return settled.channel, values
        if not settled.reference:
            return "", values
        if np.isfinite(self.barometer[0]):
            return settled.channel, values + self.barometer[0]
        return gauge_name(settled.channel), values

    def _on_time(self, settled, values, data):
        delay = self.review.of_column(settled.column, "delay")
        if not delay:
            return values
        if settled.channel in ("time_s", "speed_rpm"):
            raise LogError(
                f"column '{settled.column}' has a delay of {delay}, but "
                f"{CHANNELS[settled.channel].words} is what delays are counted on: "
                "take its delay out of the review"
            )
        if "time_s" not in data:
            raise LogError(
                f"column '{settled.column}' has a delay of {delay}, but the log has no time"
            )
        late = delay_s(delay, data.get("speed_rpm"), len(values))
        return undelayed(data["time_s"], values, late)

    def _barometer_question(self):
        """Asked only where a gauge pressure has to become an absolute one."""
        waiting = [
            s.column
            for s in self.settled
            if (s.kind == "pressure" and s.reference == "gauge")
            or (s.kind == "boost" and s.reference == "absolute")
        ]
        if not waiting or np.isfinite(self.barometer[0]):
            return ()
        return (
            Question(
                ("weather", "barometer"),
                "What did the barometer in the cell read?",
                evidence=f"'{waiting[0]}' cannot be turned from gauge to absolute without it.",
                example="29.23 inHg",
            ),
        )

    def _changed_outside(self, path):
        if not self.review.sha256 or self.review.sha256 == benches.digest(path):
            return self
        remark = Remark(
            f"{self.name} is no longer the file that was reviewed: check every decision."
        )
        return replace(self, remarks=(remark, *self.remarks))


def _from_start(seconds, clock):
    """A clock of the day or of the calendar starts at 0; a counter is left as written."""
    first = seconds[np.isfinite(seconds)][:1]
    if first.size and (first[0] > _FROM_MIDNIGHT or clock not in ("", "minutes:seconds")):
        return seconds - first[0]
    return seconds
