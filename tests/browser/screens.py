"""Take the README's pictures: python tests/browser/screens.py [workbook ...]

Each is what a person sees at 1440 wide when the workbook has run itself, cut at 1700 px.
"""

import sys
import tempfile
from pathlib import Path

from conftest import OPEN, ROOT, chromium, served, wait_until_run

SCREENS = ROOT / "workbooks" / "screens"


def main(names):
    """Write workbooks/screens/<name>.png for these workbooks, or for all."""
    names = names or [p.stem for p in sorted((ROOT / "workbooks").glob("*.ipynb"))]
    SCREENS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as lab:
        for name in names:
            with chromium(1440, 1700) as page:
                page.goto(f"{lab.base}/lab/tree/workbooks/{name}.ipynb?token={lab.token}&reset")
                wait_until_run(page)
                page.wait_for_timeout(500)
                page.locator(OPEN).screenshot(path=SCREENS / f"{name}.png")
                print(name, page.errors[:2])


if __name__ == "__main__":
    main(sys.argv[1:])
