"""How long it takes to publish: `python -m tests.benchmark_explain` prints a table.

Seconds depend on the machine and on what else it does, processor seconds (ours and the
encoder's) on the machine alone; nothing here is asserted.
"""

import os
import tempfile
import time
from pathlib import Path

from tests.test_explain_still import CARD, picture
from toolkit.explain.clip import Timing, write_clip
from toolkit.explain.still import png, svg


def seconds(work):
    """(wall time, processor time) of one call in s."""
    start, used = time.perf_counter(), sum(os.times()[:4])
    work()
    return time.perf_counter() - start, sum(os.times()[:4]) - used


def main():
    """Print what each kind of output takes, beside what was set out to reach."""
    png(picture(), "article", card=CARD)  # fonts are loaded once per session
    folder = Path(tempfile.mkdtemp())
    rows = [
        ("still 1920 x 1080", lambda: png(picture(), "video", card=CARD), ""),
        ("still 3840 x 2160", lambda: png(picture(), "video 4K", card=CARD), "at most 2"),
        ("SVG 1920 x 1080", lambda: svg(picture(), "video", card=CARD), ""),
        (
            "clip 10 s 1080p30 .mp4",
            lambda: write_clip(folder / "c.mp4", picture(), Timing(), card=CARD),
            "at most 15",
        ),
        (
            "clip 10 s 1080p30 .mov",
            lambda: write_clip(folder / "c.mov", picture(), Timing(), look="transparent"),
            "",
        ),
    ]
    print(f"{'output':<26}{'s':>8}{'CPU s':>8}  wanted")
    for name, work, wanted in rows:
        wall, used = seconds(work)
        print(f"{name:<26}{wall:>8.2f}{used:>8.2f}  {wanted}")


if __name__ == "__main__":
    main()
