"""Fixtures shared by all tests."""

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples in every run: a test must not depend on luck or on a busy machine.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

# A person's own choice of units or bench is no part of a test.
os.environ["DRIVE_PRESSURE_CONFIG"] = tempfile.mkdtemp(prefix="drive-pressure-")

ROOT = Path(__file__).resolve().parent.parent


def _outside(folder):
    path = ROOT.parent / "shared" / folder
    if not path.is_dir():
        pytest.skip(f"outside data is not on this machine: {path}")
    return path


@pytest.fixture
def shared_data():
    """The folder of measured and published data of others; skips where it is absent."""
    return _outside("data")


@pytest.fixture
def shared_cases():
    """The folder of cases with expected answers; skips where it is absent."""
    return _outside("cases")
