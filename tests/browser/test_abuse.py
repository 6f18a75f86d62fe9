"""Nobody let in, in a real browser: what a file says is never run, and the server is shut."""

import http.client
import socket
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from conftest import OPEN, chromium, settle, shoot, wait_until_run

FIRE = "window.fired=1"
NAME = f"<img src=x onerror={FIRE}> <svg onload={FIRE}>.csv"
HEADER = [
    "time_s", "speed_rpm", f"<script>{FIRE}</script>", f"<img src=x onerror='{FIRE}'>",
    f"<svg/onload={FIRE}>", f"'\"><details open ontoggle={FIRE}>", "$$\\href{javascript:x}{y}$$",
]  # fmt: skip
NOTES = [f"# <script>{FIRE}</script>", f"# note: <img src=x onerror='{FIRE}'>"]


def hostile():
    """A log with a pull in it, whose words are all attacks."""
    odd = f"<b onclick={FIRE}>"
    rows = [
        f"{k / 10};{2000 + 60 * k};{k};{k + 1};{k + 2};{k + 3};{odd if k == 9 else k}"
        for k in range(60)
    ]
    header = ";".join('"' + h.replace('"', '""') + '"' for h in HEADER)
    return "\n".join([*NOTES, header, *rows]) + "\n"


REVIEW = f"""
[test]
label = "<script>{FIRE}</script>"
turbo = "<img src=x onerror={FIRE}>"
[[notes]]
words = "<svg onload={FIRE}>"
"""


@pytest.fixture(scope="module")
def seeded(lab):
    """The bench of the running server, with the hostile log and its review in it."""
    runs = Path(lab.root) / "data_demo/runs"
    (runs / NAME).write_text(hostile(), encoding="utf-8")
    (runs / f"{NAME}.review.toml").write_text(REVIEW, encoding="utf-8")
    return lab


def opened(page, lab, book):
    page.dialogs = []
    page.on("dialog", lambda d: (page.dialogs.append(d.message), d.dismiss()))
    page.goto(f"{lab.base}/lab/tree/workbooks/{book}.ipynb?token={lab.token}&reset")
    wait_until_run(page)


def nothing_ran(page):
    page.wait_for_timeout(500)
    assert page.evaluate("window.fired") is None
    assert not page.dialogs
    assert not page.outside


def test_a_hostile_log_is_shown_as_words(seeded):
    with chromium() as page:
        opened(page, seeded, "02_log_review")
        pick = page.locator(f"{OPEN} .widget-hbox:has(> .widget-label:text-is('Log')) select").first
        pick.select_option(label=NAME)
        settle(page)
        heading = page.locator(f"{OPEN} .dp-panel").first
        heading.get_by_text("How the file was read", exact=False).first.click()
        settle(page)
        nothing_ran(page)
        shoot(page, "02_hostile")
        assert page.locator(f"{OPEN} .dp-panel", has_text="window.fired=1").count()
        nothing_ran(page)
        # The picture of a lost image would be one that the file put there.
        assert page.locator(f"{OPEN} img[src='x'], {OPEN} details, {OPEN} svg[onload]").count() == 0


def test_a_hostile_name_in_the_lists_of_other_pages(seeded):
    with chromium() as page:
        opened(page, seeded, "03_back_to_back")
        assert page.locator(f"{OPEN} option", has_text="onerror").count()
        nothing_ran(page)


def asked(lab, path, method="GET", **headers):
    """The code of the answer to a request, which is not followed to a login page."""
    at = urlsplit(lab.base)
    there = http.client.HTTPConnection(at.hostname, at.port, timeout=30)
    there.request(method, path, headers=headers)
    code = there.getresponse().status
    there.close()
    return code


@pytest.mark.parametrize(
    "path", ["/api/contents", "/api/kernels", "/api/sessions", "/files/README.md"]
)
def test_no_answer_without_the_token(lab, path):
    refused = 302 if path.startswith("/files") else 403  # a page is sent to the login
    assert asked(lab, path) == refused
    assert asked(lab, path, Authorization="token wrong") == refused
    assert asked(lab, path, Authorization=f"token {lab.token}") == 200


def test_no_answer_under_a_foreign_name(lab):
    assert asked(lab, f"/api/contents?token={lab.token}", Host="evil.example") == 403


def test_no_page_elsewhere_may_start_a_kernel(lab):
    assert asked(lab, "/api/kernels", "POST", Origin="http://evil.example") in (403, 404)


def test_it_listens_on_this_machine_only(lab):
    table = Path("/proc/net/tcp")
    if not table.exists():
        pytest.skip("needs the kernel's table of sockets")
    port = f"{urlsplit(lab.base).port:04X}"
    lines = [line.split() for line in table.read_text().splitlines()[1:]]
    listening = {x[1] for x in lines if x[3] == "0A" and x[1].endswith(f":{port}")}
    assert listening == {f"0100007F:{port}"}
    outward = socket.gethostbyname(socket.gethostname())
    if not outward.startswith("127."):
        with socket.socket() as other, pytest.raises(OSError):
            other.settimeout(5)
            other.connect((outward, int(port, 16)))


@pytest.mark.parametrize("path", ["/files/../../../etc/passwd", "/files/%2e%2e/%2e%2e/etc/passwd",
                                  "/api/contents/..%2f..%2fetc%2fpasswd"])  # fmt: skip
def test_the_server_serves_nothing_outside_the_project(lab, path):
    assert asked(lab, path, Authorization=f"token {lab.token}") in (400, 403, 404)
