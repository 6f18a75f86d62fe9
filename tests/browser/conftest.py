"""A real browser on a real JupyterLab, started as the README starts it.

`lab` is a server on a copy of the project in an empty home; `page` a headless Chromium;
`open_workbook(name)` waits until the workbook has run itself and its figures are drawn.
"""

import contextlib
import json
import os
import re
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
CHROMIUM = next(
    (p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if p), None
)
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage",
]  # fmt: skip
OPEN = ".jp-NotebookPanel:not(.lm-mod-hidden)"
SHOTS = Path(__file__).parent / "shots"


def pytest_collection_modifyitems(items):
    for item in items:
        item.add_marker(pytest.mark.browser)
        if CHROMIUM is None:
            item.add_marker(pytest.mark.skip(reason="there is no Chromium on this machine"))


class Lab:
    """A running server: base address, token and the folder it serves."""

    def __init__(self, base, token, root):
        self.base, self.token, self.root = base, token, root


@contextlib.contextmanager
def served(folder, project=ROOT):
    """JupyterLab on a copy of the project, through the launcher, in an empty home."""
    root = folder / "project"
    shutil.copytree(
        project, root,
        ignore=shutil.ignore_patterns(".venv", ".git", "shots", ".ruff_cache"),
    )  # fmt: skip
    home = folder / "home"
    home.mkdir()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    token = secrets.token_hex(16)
    # The copy comes first on the path, so that the launcher and the kernels use the copy.
    keep = {k: v for k, v in os.environ.items() if not k.startswith(("JUPYTER", "IPYTHON"))}
    env = keep | {
        "HOME": str(home),
        "PYTHONPATH": str(root),
        "XDG_CONFIG_HOME": str(home / "cfg"),
        "XDG_RUNTIME_DIR": str(home),
        "DRIVE_PRESSURE_CONFIG": str(home / "cfg"),
    }
    log = (folder / "lab.log").open("w")
    process = subprocess.Popen(
        [sys.executable, "-m", "toolkit", "--", "--no-browser", "--allow-root",
         f"--ServerApp.port={port}", "--ServerApp.port_retries=0",
         f"--IdentityProvider.token={token}", "--LabApp.expose_app_in_browser=True"],
        cwd=root, env=env, stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
    )  # fmt: skip
    try:
        base = f"http://127.0.0.1:{port}"
        _wait_for(base, process, folder / "lab.log")
        yield Lab(base, token, root)
    finally:
        process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(15)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        log.close()


def _wait_for(base, process, log):
    start = time.monotonic()
    while True:
        with contextlib.suppress(OSError):
            urllib.request.urlopen(base + "/api", timeout=1).close()
            return
        if process.poll() is not None or time.monotonic() - start > 90:
            raise RuntimeError("the server did not start: " + log.read_text()[-2000:])
        time.sleep(0.05)


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    with served(tmp_path_factory.mktemp("lab")) as server:
        yield server


@contextlib.contextmanager
def chromium(width=1440, height=1000, **context):
    """A page that records console errors and requests to any outside address."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, headless=True, args=FLAGS)
        page = browser.new_context(
            viewport={"width": width, "height": height}, accept_downloads=True, **context
        ).new_page()
        page.errors, page.outside = [], []
        page.on("console", lambda m: page.errors.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda e: page.errors.append(str(e)))
        page.on("request", lambda r: page.outside.append(r.url) if _is_outside(r.url) else None)
        yield page
        browser.close()


def _is_outside(url):
    return not re.match(r"(https?|ws)://127\.0\.0\.1[:/]|data:|blob:|file:|about:", url)


@pytest.fixture
def page():
    with chromium() as page:
        yield page
        assert not page.outside, f"asked an outside address: {page.outside[:3]}"
        assert not page.errors, f"console errors: {page.errors[:3]}"


@pytest.fixture
def open_workbook(lab, page):
    """Open a workbook by name; returns the page when its panels are drawn."""

    def open_one(name):
        end_sessions(lab)
        page.goto(f"{lab.base}/lab/tree/workbooks/{name}.ipynb?token={lab.token}&reset")
        wait_until_run(page)
        return page

    return open_one


def end_sessions(lab):
    """End all kernels: an earlier page's widgets are unknown to the next page."""
    where, key = f"{lab.base}/api/sessions", {"Authorization": f"token {lab.token}"}
    with urllib.request.urlopen(urllib.request.Request(where, headers=key)) as answer:
        sessions = json.load(answer)
    for session in sessions:
        gone = urllib.request.Request(f"{where}/{session['id']}", headers=key, method="DELETE")
        urllib.request.urlopen(gone).close()


def wait_until_run(page):
    """Wait until the workbook has run itself; the first cell that failed is the error."""
    page.wait_for_selector(f"{OPEN} .jp-Notebook .jp-Cell", timeout=90_000)
    page.wait_for_function(
        """() => { const p = window.jupyterapp && window.jupyterapp.shell.currentWidget;
        if (!p || !p.content || !p.content.model || !p.sessionContext) return false;
        const k = p.sessionContext.session && p.sessionContext.session.kernel;
        const code = [...p.content.model.cells].filter(c => c.type === 'code');
        const bad = code.flatMap(c => c.sharedModel.outputs || [])
          .filter(o => o.output_type === 'error');
        if (bad.length) throw new Error('CELL ERROR ' + bad[0].ename + ': ' + bad[0].evalue);
        return k && k.status === 'idle' &&
          code.filter(c => c.sharedModel.getSource().trim())
            .every(c => c.executionCount !== null) }""",
        timeout=240_000,
    )
    settle(page)


def settle(page):
    """Wait until the kernel has answered all that was asked and every figure has been painted."""
    # A kernel that is idle may not have heard yet. It takes messages in their order, so that an
    # empty request comes back after all before it; a widget holds a second change back until the
    # first is answered, hence twice.
    page.evaluate(
        """async () => { const { sessionContext } = window.jupyterapp.shell.currentWidget;
        for (const _ of [1, 2]) await sessionContext.session.kernel.requestExecute(
          {code: '', silent: true}).done }"""
    )
    page.wait_for_function(
        """() => { const p = window.jupyterapp.shell.currentWidget;
        const k = p.sessionContext.session.kernel;
        return k.status === 'idle' && (!window.Bokeh || Bokeh.documents.every(d => d.is_idle)) }""",
        timeout=60_000,
    )
    page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")


def sees(page, words, where=".dp-panel", gone=False):
    """Wait until the open workbook shows these words (or no longer does); fails after 30 s."""
    from playwright.sync_api import expect

    place = page.locator(f"{OPEN} {where}", has_text=words)
    if gone:
        expect(place).to_have_count(0, timeout=30_000)
    else:
        expect(place.first).to_be_visible(timeout=30_000)
    settle(page)


def wait_for(page, condition, seconds=30):
    """Wait until a condition holds that the page does not show, such as a file's content."""
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "it did not come true"
        page.wait_for_timeout(100)


def type_into(page, label, text):
    """Type into the field with this label, as a hand would, and leave it."""
    field = page.locator(f"{OPEN} .widget-hbox:has(> .widget-label:text-is('{label}')) input").first
    field.fill(text)
    field.press("Enter")
    settle(page)


def shoot(page, name):
    """A picture of the whole workbook for a person to look at: tests/browser/shots/<name>.png."""
    SHOTS.mkdir(exist_ok=True)
    height = page.evaluate(
        f"""() => {{ const o = document.querySelector('{OPEN} .jp-WindowedPanel-outer')
          || document.querySelector('{OPEN} .jp-Notebook');
          return Math.ceil(o.scrollHeight) + 120 }}"""
    )
    size = page.viewport_size
    page.set_viewport_size({"width": size["width"], "height": min(max(height, 600), 12000)})
    page.evaluate(
        f"() => document.querySelectorAll('{OPEN} *').forEach(e => e.scrollTop && e.scrollTo(0, 0))"
    )
    page.wait_for_timeout(400)
    page.screenshot(path=SHOTS / f"{name}.png")
    page.set_viewport_size(size)
