"""Every check, in order: python -m tests

ruff           style and mistakes
pytest         unit and property tests, doctests, slow ones included
nbval          every workbook executed, warnings as errors
browser        every workbook in a real headless Chromium
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
NOT_SLOW = [] if "--slow" in sys.argv else ["-m", "not slow"]
PYTEST = [sys.executable, "-m", "pytest", "-q"]

STEPS = {
    "ruff check": [sys.executable, "-m", "ruff", "check", "."],
    "ruff format": [sys.executable, "-m", "ruff", "format", "--check", "."],
    "unit and property tests, doctests": [
        *PYTEST, "-n", "2", "--dist", "worksteal", "--durations", "15", *NOT_SLOW,
    ],
    "workbooks": [
        *PYTEST, "--nbval-lax", "--nbval-current-env", "--nbval-cell-timeout=300",
        "-n", "2", "--dist", "loadfile", "workbooks",
    ],
    "browser": [*PYTEST, "--durations", "10", *NOT_SLOW, "tests/browser"],
}  # fmt: skip


def main():
    """Run every step, also after one has failed; returns the number that failed."""
    failed = []
    for name, command in STEPS.items():
        print(f"\n=== {name} ===", flush=True)
        start = time.monotonic()
        # A warning inside a workbook's kernel is out of pytest's reach: this makes it an error.
        env = os.environ | {"DRIVE_PRESSURE_CONFIG": tempfile.mkdtemp(prefix="drive-pressure-")}
        env |= {"PYTHONWARNINGS": "error"} if name == "workbooks" else {}
        if subprocess.run(command, cwd=ROOT, env=env).returncode:
            failed.append(name)
        print(f"=== {name}: {time.monotonic() - start:.0f} s ===", flush=True)
    print(f"\n{len(STEPS) - len(failed)} passed, {len(failed)} failed")
    if failed:
        print("failed: " + "; ".join(failed))
    return len(failed)


if __name__ == "__main__":
    sys.exit(main())
