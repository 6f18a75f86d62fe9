"""Where a picture goes, and on what ground it stands there."""

from dataclasses import dataclass

from toolkit.charts import style


class PublishError(ValueError):
    """What cannot be published; the message is one sentence for the person."""


# Width and height in px. The names say where such a picture is usually shown.
PLACES = {
    "video": (1920, 1080),
    "video 4K": (3840, 2160),
    "upright": (1080, 1920),
    "square": (1080, 1080),
    "article": (1200, 675),
}
LEAST_PX, MOST_PX = 320, 7680


@dataclass(frozen=True)
class Look:
    """The inks for one ground. ground None: transparent, and `halo` is drawn round everything.

    least_words, least_stroke: the contrast that words and strokes must have against the ground;
    over video, whose brightness nobody knows, they must be bright as well as edged.
    """

    ground: str | None
    ink: str
    quiet: str
    grid: str
    warn: str
    halo: str | None = None
    least_words: float = 4.5
    least_stroke: float = 3.0

    @property
    def behind(self):
        """The colour that words are read against."""
        return self.ground or self.halo

    def stroke(self, colour):
        """The colour for a line or an area of this picture colour."""
        return self._own(colour) or style.readable(colour, self.behind, self.least_stroke)

    def words(self, colour):
        """The colour for words of this picture colour."""
        return style.readable(self._own(colour) or colour, self.behind, self.least_words)

    def _own(self, colour):
        return {
            style.INK: self.ink,
            style.QUIET: self.quiet,
            style.GRID: self.grid,
            style.WARN: self.warn,
            style.PAPER: self.behind,
        }.get(colour)


LOOKS = {
    "light": Look(style.PAPER, style.INK, "#52606d", style.GRID, style.WARN),
    "dark": Look("#10161d", "#f5f7fa", "#aab7c4", "#2b3742", "#ff8f8f"),
    # Laid over video of unknown brightness: bright words, each in its own dark edge.
    "transparent": Look(
        None, "#ffffff", "#e1e7ee", "#9aa8b5", "#ffb3b3", "#0b0f14", least_words=10, least_stroke=7
    ),
}


def look_named(name):
    """The look of this name.

    Raises PublishError that lists the names there are.
    """
    if name not in LOOKS:
        raise PublishError(f"there is no look '{name}': choose one of {', '.join(LOOKS)}")
    return LOOKS[name]


def checked_size(size):
    """(width, height) in whole px for a place's name or a pair of numbers.

    Raises PublishError for a size that nothing could be read in or that memory would not hold.

    >>> checked_size("article"), checked_size((1080, 1080))
    ((1200, 675), (1080, 1080))
    """
    if isinstance(size, str):
        if size not in PLACES:
            raise PublishError(
                f"there is no place '{size}': choose one of {', '.join(PLACES)}, "
                "or give width and height in px"
            )
        return PLACES[size]
    width, height = size
    for name, px in (("width", width), ("height", height)):
        if px != int(px) or not LEAST_PX <= px <= MOST_PX:
            raise PublishError(
                f"the {name} of {px:g} px cannot be used: give a whole number between "
                f"{LEAST_PX} and {MOST_PX}"
            )
    if max(width, height) > 3 * min(width, height):
        raise PublishError(
            f"{width:g} x {height:g} px is too narrow for a picture with words: keep the long "
            "side within three times the short one"
        )
    return int(width), int(height)
