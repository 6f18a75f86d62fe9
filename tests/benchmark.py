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
MOVES = 14  # an even number leaves each control where it was
# (workbook, control, what moves it, ms that are felt as at once)
CONTROLS = [
    ("01_sizing_worksheet", "Boost above target", "slider", 100),
    ("03_back_to_back", "Averages from", "4100 rpm/4000 rpm", 100),
    ("03_back_to_back", "Show", "list", 100),
    ("03_back_to_back", "Power and torque", "list", 100),
    ("03_back_to_back", "Intake opens BTDC", "slider", 150),
    ("03_back_to_back", "Band of", "list after the first", 150),
    ("05_what_if", "Size, first to second", "slider", 150),
]
# From the key to the second frame after the last change of any figure on the page.
WATCH = """() => {
  for (const d of Bokeh.documents) if (!d.watched) { d.watched = true; d.on_change(() =>
    requestAnimationFrame(() => requestAnimationFrame(() => {
      window.painted = performance.now() })), false) }
  const start = () => { window.started = performance.now() };
  addEventListener('keydown', start, {capture: true});
  addEventListener('change', start, {capture: true}) }"""
CHOOSE = """(list, place) => { list.selectedIndex = place;
  list.dispatchEvent(new Event('change', {bubbles: true})) }"""


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
    """(what, its median) of each of CONTROLS, in a real browser on a real server."""
    sys.path.insert(0, str(ROOT / "tests/browser"))
    from conftest import CHROMIUM, chromium, end_sessions, served, wait_until_run

    if CHROMIUM is None:
        return [("controls", "not measured: there is no Chromium on this machine")]
    found, at = [], ""
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as lab, chromium() as page:
        for workbook, label, how, wanted in CONTROLS:
            if workbook != at:
                end_sessions(lab)
                where = f"{lab.base}/lab/tree/workbooks/{workbook}.ipynb"
                page.goto(f"{where}?token={lab.token}&reset")
                wait_until_run(page)
                at = workbook
            taken = [move(page, label, how, k) for k in range(MOVES + 2)][2:]  # warm
            found.append((
                f"{workbook[:2]}, {label}, moved to its picture redrawn",
                f"median {statistics.median(taken):.0f} ms, slowest {max(taken):.0f} ms; "
                f"at most {wanted}",
            ))  # fmt: skip
    return found


def move(page, label, how, k):
    """Milliseconds from moving a control the k-th time, there or back, to the picture."""
    from conftest import OPEN, settle

    page.evaluate(WATCH)
    row = page.locator(f"{OPEN} .widget-hbox:has(> .widget-label:text-is('{label}'))").first
    if how == "slider":
        row.locator(".noUi-handle").press("ArrowLeft" if k % 2 else "ArrowRight")
    elif how.startswith("list"):
        row.locator("select").evaluate(CHOOSE, (k + 1) % 2 + ("after" in how))
    else:
        row.locator("input").fill(how.split("/")[k % 2])
        row.locator("input").press("Enter")
    page.wait_for_function("window.painted > window.started")
    for _ in range(2):  # a panel that looks further into another follows it
        page.wait_for_timeout(100)
        settle(page)
    return page.evaluate("painted - started")


def text():
    """The table as Markdown."""
    topics = sorted(p.stem.removeprefix("benchmark_") for p in ROOT.glob("tests/benchmark_*.py"))
    rows = [f"On {machine()}:", "", "| of | measured |", "|---|---|"]
    for topic in topics:
        rows += [f"| {topic} | {line} |" for line in printed(topic)]
        print("\n".join(rows[-3:]), file=sys.stderr, flush=True)
    rows += [f"| {what} | {line} |" for what, line in control_to_picture()]
    return "\n".join(rows) + "\n"


def main(arguments):
    found = text()
    print(found)
    if "--write" in arguments:
        page = PAGE.read_text(encoding="utf-8")
        PAGE.write_text(BLOCK.sub(lambda m: m[1] + found + m[2], page), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
