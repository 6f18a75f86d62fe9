"""The curves drawn along the axis with a moving readout, as a video file.

Each frame is two drawn sheets, with and without curves, put together at the place of the
cursor; only the words that move are drawn anew. Encoded by the ffmpeg that imageio-ffmpeg brings.
"""

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from toolkit.charts import style
from toolkit.explain.lettering import MARGIN, PANEL
from toolkit.explain.looks import PublishError
from toolkit.explain.sheet import Sheet

# Tags and conversion for the colours that every player expects of high definition.
_COLOUR = ["-vf", "scale=out_color_matrix=bt709:out_range=tv"]
_COLOUR += ["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"]
_SAME_BYTES = ["-map_metadata", "-1", "-fflags", "+bitexact", "-flags:v", "+bitexact"]
_CODECS = {
    ".mp4": ("libx264", "yuv420p", "-preset veryfast -crf 18 -movflags +faststart"),
    # A fixed quantiser: the search for a bit rate would take ten times as long.
    ".mov": ("prores_ks", "yuva444p10le", "-profile:v 4444 -alpha_bits 8 -qscale:v 11"),
}


class Cancelled(Exception):
    """The person stopped the clip; nothing was left behind."""


@dataclass(frozen=True)
class Timing:
    """Length in s and frames a second; `lead` and `hold` are the still shares at the two ends.

    Raises PublishError for a length or rate that no player is made for.
    """

    seconds: float = 10.0
    fps: int = 30
    lead: float = 0.06
    hold: float = 0.22

    def __post_init__(self):
        for name, value, low, high in (
            ("length", self.seconds, 2, 300),
            ("frame rate", self.fps, 10, 120),
        ):
            if not low <= value <= high:
                raise PublishError(
                    f"a {name} of {value:g} cannot be used: choose between {low} and {high}"
                )

    @property
    def frames(self):
        """How many frames the clip has."""
        return round(self.seconds * self.fps)

    def share_at(self, time_s):
        """How much of the axis is drawn at this time, 0 to 1."""
        start, stop = self.lead * self.seconds, (1 - self.hold) * self.seconds
        return float(np.clip((time_s - start) / (stop - start), 0, 1))

    def time_at(self, share):
        """When the cursor passes this share of the axis, in s."""
        return self.seconds * (self.lead + float(share) * (1 - self.lead - self.hold))


def write_clip(path, picture, timing=None, size="video", look="light", card=(), **watched):
    """Write the picture as a clip; the suffix says which: .mp4, or .mov with transparency.

    watched: progress, called with (frames done, frames in all); stop, asked before each frame,
    True ends the work. The file appears when it is whole. Raises Cancelled when stopped and
    PublishError where the choice cannot be encoded.
    """
    path, timing = Path(path), timing or Timing()
    film = Film(picture, timing, size, look, card)
    encoder = _encoder(path, film)
    part = path.with_name(f".{path.stem}.part{path.suffix}")
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        _encode(encoder(part), film, **watched)
        part.replace(path)
    except OSError as error:
        raise PublishError(f"{path.name} could not be written: {_last_line(error)}") from None
    finally:
        part.unlink(missing_ok=True)


def _encoder(path, film):
    """A function that opens the encoder on a file; refuses what the format cannot hold."""
    import imageio_ffmpeg

    if path.suffix not in _CODECS:
        raise PublishError(f"a clip is .mp4 or .mov (transparent), not '{path.suffix}'")
    if path.suffix == ".mp4" and not film.sheet.look.ground:
        raise PublishError("an .mp4 has no transparency: choose .mov, or a light or dark look")
    odd = [px for px in film.sheet.size if px % 2]
    if odd:
        raise PublishError(f"a clip needs even sizes: use {odd[0] + 1} instead of {odd[0]} px")
    codec, pixels, more = _CODECS[path.suffix]

    def opened(part):
        writer = imageio_ffmpeg.write_frames(
            str(part),
            film.sheet.size,
            fps=film.timing.fps,
            pix_fmt_in="rgba",
            pix_fmt_out=pixels,
            codec=codec,
            quality=None,
            macro_block_size=2,
            ffmpeg_log_level="error",
            output_params=[*more.split(), *_COLOUR, *_SAME_BYTES],
        )
        writer.send(None)
        return writer

    return opened


def _encode(writer, film, progress=None, stop=None):
    try:
        for number in range(film.timing.frames):
            if stop is not None and stop():
                raise Cancelled
            writer.send(film.frame(number / film.timing.fps))
            if progress is not None:
                progress(number + 1, film.timing.frames)
    finally:
        writer.close()


def _last_line(error):
    lines = [line for line in str(error).splitlines() if line.strip()]
    return lines[-1].strip() if lines else type(error).__name__


class Film:
    """The frames of a clip, each made when it is asked for."""

    def __init__(self, picture, timing, size="video", look="light", card=()):
        shared = [i for i, p in enumerate(picture.panels) if not (p.x_label or p.bare)]
        if not shared:
            raise PublishError("a clip needs curves along an axis: this picture has none")
        self.timing, self.picture = timing, picture
        self.sheet = sheet = Sheet(picture, size, look, card, values=True)
        self._shared = [(sheet.picture.panels[i], sheet.panels[i]) for i in shared]
        self._words = sorted({x for x, _ in sheet.words})
        self._stages = {}
        for label in sheet.labels:
            label.set_visible(False)
        unit = re.search(r"\[(.+)\]", picture.x_label)
        self._x_unit = f" {unit.group(1)}" if unit else ""
        first = self._shared[0][1].box
        right = sheet.size[0] - MARGIN * sheet.unit
        y = first[2] - 1.7 * sheet.unit
        self._clock = sheet.write(right, y, "", PANEL, weight="bold", ha="right", va="bottom")
        self._clock.set_visible(False)
        self._moving, self._last = {}, (None, b"")
        sheet.pixels()  # makes the buffer into which frames are put
        self._buffer = np.asarray(sheet.canvas.buffer_rgba())

    def frame(self, time_s):
        """The frame at this time as RGBA bytes."""
        left, right = self.picture.x_limits
        x = left + self.timing.share_at(time_s) * (right - left)
        if x != self._last[0]:  # while the picture stands still, so does its frame
            self._last = x, self._frame_at(x)
        return self._last[1]

    def _frame_at(self, x):
        bare, whole = self._stage(sum(w <= x for w in self._words))
        self._buffer[:] = whole
        for _panel, drawn in self._shared:
            self._hide_right_of(x, drawn, bare)
        renderer = self.sheet.canvas.get_renderer()
        for artist in [*self._readouts(x), self._time_words(x)]:
            artist.set_visible(True)
            artist.draw(renderer)
            artist.set_visible(False)
        return self._buffer.tobytes()

    def _stage(self, passed):
        """The sheet without and with its curves, once this many words have been passed."""
        if passed not in self._stages:
            reached = self._words[passed - 1] if passed else -np.inf
            for x, artist in self.sheet.words:
                artist.set_visible(x <= reached)
            images = []
            for shown in (False, True):
                for artist in self.sheet.curves:
                    artist.set_visible(shown)
                images.append(self.sheet.pixels())
            self._stages = {passed: images}  # the stage before is never needed again
            self._buffer = np.asarray(self.sheet.canvas.buffer_rgba())
        return self._stages[passed]

    def _hide_right_of(self, x, drawn, bare):
        left, right, top, bottom = (round(v) for v in drawn.box)
        across = round(drawn.px(x, 0)[0])
        # The width of a stroke reaches beyond the frame of its panel.
        over = round(self.sheet.unit)
        rows, hidden = slice(top - over, bottom + over), slice(across, right + over)
        self._buffer[rows, hidden] = bare[rows, hidden]
        half = max(1, round(self.sheet.scale / 2))
        ink = self.sheet.look.stroke(style.QUIET)
        line = [*bytes.fromhex(ink[1:]), 255]
        self._buffer[top:bottom, max(left, across - half) : across + half] = line

    def _readouts(self, x):
        """The names of the curves with their values, at the cursor."""
        for number, (panel, drawn) in enumerate(self._shared):
            cut = _cut(panel, x)
            for index, (x_px, y_px, words, colour) in enumerate(drawn.label_places(cut)):
                key = number, index
                if key not in self._moving:
                    self._moving[key] = self.sheet.write(0, 0, "", va="center")
                artist = self._moving[key]
                artist.set_text(words)
                artist.set_color(self.sheet.look.words(colour))
                width, height = self.sheet.size
                artist.set_position((x_px / width, 1 - y_px / height))
                yield artist

    def _time_words(self, x):
        self._clock.set_text(f"{x:.0f}{self._x_unit}" if x >= 100 else f"{x:.3g}{self._x_unit}")
        return self._clock


def _cut(panel, x):
    """The panel with its curves ending at x and their values there among their names."""
    lines = [_ended(line, x, panel.decimals) for line in panel.lines if line.label]
    bands = [
        replace(b, x=b.x[b.x <= x], low=b.low[b.x <= x], high=b.high[b.x <= x])
        for b in panel.bands
        if b.label
    ]
    return replace(panel, lines=tuple(lines), bands=tuple(bands), y_range=panel.y_limits)


def _ended(line, x, decimals):
    """The curve up to x, with its value there; a curve with a gap at x keeps its last value."""
    past = line.x <= x
    xs, ys = line.x[past], line.y[past]
    order = np.argsort(line.x, kind="stable")
    there = np.interp(x, line.x[order], line.y[order], left=np.nan, right=np.nan)
    if np.isfinite(there):
        xs, ys = np.append(xs, x), np.append(ys, there)
    known = ys[np.isfinite(ys)]
    places = decimals if line.decimals is None else line.decimals
    value = f" {known[-1]:.{places}f}" if known.size else ""
    return replace(line, x=xs, y=ys, label=line.label + value)
