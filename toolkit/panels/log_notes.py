"""Notes on the curve: by a tap on the chart or by the keys alone."""

from dataclasses import replace

import ipywidgets as w
import numpy as np

from toolkit import units
from toolkit.logs.channels import CHANNELS
from toolkit.logs.notes import Curve, CurveNote, nearest, value_under
from toolkit.logs.question import LogError
from toolkit.panels.base import UNITS, Choice, Quantity, offer, paragraph, said

_NEW = -1


class NoteForm(w.VBox):
    """Where, and what to say there. It changes the notes of the log on the desk.

    axis: what the chart beside it runs along, "speed_rpm" or "time_s".
    """

    def __init__(self, desk, handler, axis="speed_rpm"):
        self.desk, self.handler, self.axis = desk, handler, axis
        self._used = ()
        kind = CHANNELS[axis].kind
        self.which = Choice("Note", [("a new one", _NEW)])
        self.channel = Choice("On", [("no curve", "")])
        self.pull = Choice("Of", [("the mean", 0)])
        self.pull.layout.display = None if axis == "speed_rpm" else "none"
        self.at = Quantity(
            "At", kind, None, low=0, optional=True, hint="tap a curve, drag, or type"
        )
        self.to = Quantity("to", kind, None, low=0, optional=True, hint="empty: a point")
        # Not letter by letter: a button pressed at once would find only the first ones.
        self.words = w.Text(
            placeholder="what you see there", continuous_update=False,
            layout=w.Layout(width="284px"),
        )  # fmt: skip
        self.put = self._button("Put the note", lambda: self._put())
        self.delete = self._button("Delete it", lambda: self._delete())
        self.undo = self._button("Undo", lambda: self._change(self._notes.undo()))
        self.redo = self._button("Redo", lambda: self._change(self._notes.redo()))
        self.here = said("")
        self.which.observe(handler(lambda _: self._fill()), "value")
        for field in (self.channel, self.pull, self.at, self.to):
            field.observe(handler(lambda _: self._say_here()), "value")
        super().__init__(
            [
                self.which, self.channel, self.pull, self.at, self.to, self.here, self.words,
                w.HBox([self.put, self.delete]), w.HBox([self.undo, self.redo]),
            ]
        )  # fmt: skip

    def _button(self, words, act):
        button = w.Button(description=words, layout=w.Layout(width="138px"))
        button.on_click(self.handler(lambda _: act()))
        return button

    @property
    def _notes(self):
        return self.desk.state.notes

    def show(self, has, pulls=()):
        """Offer the curves of these channels and pulls, and the notes there are on this axis."""
        channels = [(CHANNELS[c].words, c) for c in CHANNELS if c in has]
        offer(self.channel, [x for x in channels if x[1] not in (self.axis, "time_s")])
        self._used = tuple(pulls)
        notes = [
            (f"{k}: {n.words[:30]}", k - 1)
            for k, n in enumerate(self._notes.items, 1)
            if n.axis == self.axis
        ]
        offer(self.which, [("a new one", _NEW), *notes])
        self._offer_pulls()
        self.delete.disabled = self.which.value == _NEW
        self.undo.disabled, self.redo.disabled = not self._notes.past, not self._notes.future
        self._say_here()

    def _offer_pulls(self):
        """The mean, the pulls that are used, and that of the chosen note, which may not be."""
        chosen = self._chosen
        options = [("the mean", 0), *((f"pull {n}", n) for n in self._used)]
        if chosen is not None and chosen.pull not in (0, *self._used):
            options.append((f"pull {chosen.pull}, not used", chosen.pull))
        offer(self.pull, options)

    @property
    def _chosen(self):
        """The note that is being edited, None for a new one."""
        items, place = self._notes.items, self.which.value
        return items[place] if place != _NEW and place < len(items) else None

    def tap(self, curves, x, y):
        """Take the point of the drawn curve nearest to where the person tapped."""
        found = nearest(curves, x, y)
        if found is None:
            raise LogError("there is no curve near that place: tap on one")
        curve, at, _ = found
        self.channel.value, self.pull.value = curve.channel, curve.pull
        self.to.value, self.at.value = None, at

    def sweep(self, curves, x0, x1):
        """Take a range that the person dragged over, on the curve chosen if it is drawn there."""
        drawn = [c.channel for c in curves]
        if not drawn:
            raise LogError("there is no curve in that panel: drag over one")
        if self.channel.value not in drawn:
            self.channel.value = drawn[0]
        places = 0 if self.axis == "speed_rpm" else 2
        self.at.value, self.to.value = round(x0, places), round(x1, places)

    def _curve(self):
        channel = self.channel.value
        if self.axis == "time_s":
            frame = self.desk.state.run.frame
            if channel not in frame:
                raise LogError("choose the curve that the note stands on")
            return Curve(channel, 0, frame["time_s"].to_numpy(), frame[channel].to_numpy())
        pulls = self.desk.state.pulls
        found = [c for c in pulls.curves(channel) if c.pull == self.pull.value]
        if not found and self.pull.value and self.pull.value not in pulls.numbers:
            raise LogError(
                f"pull {self.pull.value} is not used: tick it in the list of pulls, or put the "
                "note on another one"
            )
        if not found and (self.pull.value or channel not in pulls.has):
            raise LogError("choose the curve that the note stands on")
        return found[0] if found else pulls.mean_curve(channel)

    def _note(self):
        if self.at.value is None:
            raise LogError(
                "say where the note stands: tap the curve, or type a place like "
                f"{'4200 rpm' if self.axis == 'speed_rpm' else '12.5 s'}"
            )
        start = self.at.value
        stop = start if self.to.value is None else self.to.value
        start, stop = min(start, stop), max(start, stop)
        where = self.channel.value, self.axis, start, stop
        old = self._chosen
        if old and (old.channel, old.axis, old.start, old.stop, old.pull) == (
            *where, self.pull.value
        ):  # fmt: skip
            return replace(old, words=self.words.value)  # its pull may no longer be used
        value = value_under(self._curve(), start, stop)
        if np.isnan(value):
            kind = CHANNELS[self.axis].kind
            place = units.text(start, kind, UNITS.system)
            if stop > start:
                place = units.span(start, stop, kind, UNITS.system)
            raise LogError(f"the curve has no value at {place}: choose a place on it")
        return CurveNote(self.words.value, *where, value, self.pull.value)

    def _put(self):
        note, place = self._note(), self.which.value
        notes = self._notes.add(note) if place == _NEW else self._notes.edit(place, note)
        self._change(notes)
        self.which.value = _NEW
        self.words.value = ""  # last: choosing among the new notes has filled it in

    def _delete(self):
        notes = self._notes.delete(self.which.value)
        self.which.value = _NEW
        self._change(notes)

    def _change(self, notes):
        self.desk.change(self.desk.state.with_notes(notes))

    def _fill(self):
        place = self.which.value
        self.delete.disabled = place == _NEW
        if place == _NEW:
            return
        note = self._notes.items[place]
        self._offer_pulls()
        self.words.value, self.pull.value = note.words, note.pull
        if note.channel not in [c for _, c in self.channel.control.options]:
            raise LogError(
                f"the note stands on {CHANNELS[note.channel].words}, which is not drawn here: "
                "choose another curve for it, or delete it"
            )
        self.channel.value = note.channel
        self.at.value, self.to.value = note.start, note.stop if note.is_range else None

    def _say_here(self):
        """The value under the place, before the note is put."""
        self.here.value = paragraph("")
        if self.axis == "speed_rpm" and self.pull.value not in (0, *self._used):
            self.here.value = paragraph(f"Pull {self.pull.value} is not used, so not drawn.")
            return
        if self.at.value is None or not self.channel.value or self.desk.state is None:
            return
        stop = self.at.value if self.to.value is None else self.to.value
        value = value_under(self._curve(), *sorted((self.at.value, stop)))
        words = units.text(value, CHANNELS[self.channel.value].kind, UNITS.system)
        kind = " absolute" if CHANNELS[self.channel.value].kind == "pressure" else ""
        self.here.value = paragraph(f"There it is {words}{kind}.")
