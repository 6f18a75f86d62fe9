"""Every benchmark in one run, and how long a moved control takes to its picture in a browser.

    python -m tests.benchmark             print one table
    python -m tests.benchmark --write     put it into DEVELOPERS.md as well

Each benchmark has a process of its own, one after the other. Ratios are within one run; seconds
hold for the machine named above the table, and for whatever else it did.
"""

import os
import platform
import re
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "DEVELOPERS.md"
BLOCK = re.compile(r"(<!-- benchmarks -->\n).*?(<!-- end of benchmarks -->)", re.DOTALL)
PRESSES = 20
# From the key that reaches the page to the second frame after the figure's data has changed.
WATCH = """() => {
  const lift = () => Bokeh.documents.flatMap(d => [...d._all_models.values()])
    .filter(m => m.type === 'ColumnDataSource' && m.data.ys && m.data.dash)
    .map(m => m.data.ys.map(y => Array.from(y).reduce((a, b) => a + (b || 0), 0)).join()).join();
  const before = lift();
  window.moved = new Promise(done => addEventListener('keydown', () => {
    const start = performance.now();
    const look = () => lift() === before ? requestAnimationFrame(look)
      : requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - start)));
    look();
  }, {once: true, capture: true})) }"""


def machine():
    """What ran it, in one line."""
    told = Path("/proc/cpuinfo")
    names = re.findall(r"model name\s*: (.*)", told.read_text()) if told.exists() else []
    load = f", load {os.getloadavg()[0]:.1f} at the start" if hasattr(os, "getloadavg") else ""
    name = names[0] if names else platform.processor() or platform.machine()
    return f"{name}, {os.cpu_count()} cores, Python {platform.python_version()}{load}"


def printed(topic):
    """The lines that one benchmark prints, or its last word where it failed."""
    done = subprocess.run(
        [sys.executable, "-m", f"tests.benchmark_{topic}"],
        cwd=ROOT, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": f"{ROOT}/tests"},
    )  # fmt: skip
    if done.returncode:
        return [f"failed: {done.stderr.strip().splitlines()[-1]}"]
    return [
        re.sub(r"\s{2,}", "  ", line.strip()) for line in done.stdout.splitlines() if line.strip()
    ]


def control_to_picture():
    """The median of twenty key presses on a cam angle, in the workbook that has the cycle."""
    sys.path.insert(0, str(ROOT / "tests/browser"))
    from conftest import CHROMIUM, OPEN, chromium, served, settle, wait_until_run

    if CHROMIUM is None:
        return ["not measured: there is no Chromium on this machine"]
    taken = []
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as lab, chromium() as page:
        page.goto(f"{lab.base}/lab/tree/workbooks/03_back_to_back.ipynb?token={lab.token}&reset")
        wait_until_run(page)
        label = f"{OPEN} .widget-hbox:has(> .widget-label:text-is('Intake opens BTDC'))"
        handle = page.locator(label).first.locator(".noUi-handle")
        for k in range(PRESSES + 2):
            handle.focus()
            page.evaluate(WATCH)
            handle.press("ArrowRight" if k % 2 else "ArrowLeft")
            taken.append(page.evaluate("window.moved"))
            settle(page)
    taken = taken[2:]  # the first presses load what is loaded once
    return [f"median {statistics.median(taken):.0f} ms, slowest {max(taken):.0f} ms of {PRESSES}"]


def text():
    """The table as Markdown."""
    topics = sorted(p.stem.removeprefix("benchmark_") for p in ROOT.glob("tests/benchmark_*.py"))
    rows = [f"On {machine()}:", "", "| of | measured |", "|---|---|"]
    for topic in topics:
        rows += [f"| {topic} | {line} |" for line in printed(topic)]
        print("\n".join(rows[-3:]), file=sys.stderr, flush=True)
    rows += [
        f"| a cam angle moved to the picture redrawn | {line} |" for line in control_to_picture()
    ]
    return "\n".join(rows) + "\n"


def main(arguments):
    found = text()
    print(found)
    if "--write" in arguments:
        page = PAGE.read_text(encoding="utf-8")
        PAGE.write_text(BLOCK.sub(lambda m: m[1] + found + m[2], page), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
