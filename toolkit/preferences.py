"""What a person chose once: the unit system and the bench folder."""

import os
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from toolkit.bench import BenchError, read_toml, write_toml
from toolkit.units import SYSTEMS

DEMO_BENCH = Path(__file__).resolve().parent.parent / "data_demo"


@dataclass(frozen=True)
class Preferences:
    """units: "US" or "SI"; bench: path of the bench folder."""

    units: str = "US"
    bench: str = str(DEMO_BENCH)


def preferences_path():
    """Where they are kept: the person's own configuration folder."""
    folder = os.environ.get("DRIVE_PRESSURE_CONFIG")
    if folder:
        return Path(folder) / "preferences.toml"
    import platformdirs

    name = "drive-pressure-workbooks"
    return Path(platformdirs.user_config_path(name, appauthor=False)) / "preferences.toml"


def load():
    """The saved preferences; what is missing or no longer valid falls to its default."""
    default = Preferences()
    try:
        saved = read_toml(preferences_path()).unwrap()
    except BenchError:
        return default
    units = saved.get("units") if saved.get("units") in SYSTEMS else default.units
    bench = saved.get("bench")
    there = isinstance(bench, str) and bench and Path(bench).is_dir()
    return Preferences(units, bench if there else default.bench)


def save(**changes):
    """Save the preferences with these changes; returns them."""
    new = replace(load(), **changes)
    write_toml(preferences_path(), asdict(new))
    return new
