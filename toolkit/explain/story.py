"""What is told about one finding: the same words and pictures for page, still, clip and talk."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import pandas as pd

from toolkit.charts.picture import Picture
from toolkit.explain.headline import Cited, contradictions

EVIDENCE = ("measured", "worked out", "estimated", "cannot tell")
CAUTIONS = (
    "An engine at full load on a dyno can hurt and kill: rotating parts, hot exhaust, carbon "
    "monoxide, fuel and fire, noise, an engine or a turbo that bursts.",
    "The maker's limits on shaft speed, turbine inlet temperature, cylinder pressure, rods and "
    "bolts come before any number on this page.",
    "Start on the gate spring alone and raise boost in steps.",
    "What holds on this engine need not hold on another; local codes, emission law and a "
    "qualified person decide.",
)


@dataclass(frozen=True)
class Sentence:
    """One plain sentence with its evidence word; at_rpm is where on the axis it belongs."""

    text: str
    evidence: str
    at_rpm: float | None = None

    def __post_init__(self):
        if self.evidence not in EVIDENCE:
            raise ValueError(
                f"evidence is {self.evidence!r}: it must be one of {', '.join(EVIDENCE)}"
            )


@dataclass(frozen=True)
class Story:
    """A finding, ready to be told in the person's units.

    slug: its folder under explain/. headline: may be edited; `troubles` says where it contradicts
    the numbers in `cited`; evidence: its word. sentences: for reading; spoken: short ones, for
    a voice over the clip. card: the method card's (word, text) rows. method, cautions:
    paragraphs. table: what can be downloaded, one row per speed. picture: the chart to publish.
    why: the chart of a difference split among its causes, and shares, those causes along speed;
    None where no split was made. poster: makes the circle for a size (width, height); None where
    no station was measured.
    """

    slug: str
    headline: str
    picture: Picture
    sentences: tuple[Sentence, ...]
    spoken: tuple[Sentence, ...]
    cited: tuple[Cited, ...]
    card: tuple[tuple[str, str], ...]
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    table: pd.DataFrame
    runs: tuple[tuple[str, str], ...]  # name and colour of each run
    system: str = "US"
    evidence: str = "measured"
    why: Picture | None = None
    shares: pd.DataFrame | None = None
    poster: Callable[[tuple[int, int]], Picture] | None = None

    @property
    def whole(self):
        """The picture with the causes below it on the same axis, for a page that has the room."""
        if self.why is None:
            return self.picture
        return replace(self.picture, panels=(*self.picture.panels, self.why.panels[0]))

    @property
    def troubles(self):
        """What in the headline contradicts the finding, as sentences."""
        names = [name for name, _ in self.runs]
        return contradictions(self.headline, self.cited, self.system, names)
