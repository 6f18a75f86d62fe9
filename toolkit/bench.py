"""The bench: a plain folder of builds, runs, maps and what was published from them.

Every path that a person or a file names goes through `Bench.file`, which keeps it inside the
folder; everything written goes through `write_bytes`, which leaves either the old file or the
new one, never half of it.
"""

import hashlib
import os
from pathlib import Path, PurePosixPath, PureWindowsPath

import tomlkit
from boltons.fileutils import atomic_save

LOG_SUFFIXES = {".csv", ".tsv", ".txt", ".dat", ".asc", ".log", ".xlsx", ".parquet", ".mf4"}
_SHARED = {"runs": "", "builds": ".toml", "maps": ".csv"}  # the ending of all files in a folder


class BenchError(ValueError):
    """A folder or file that cannot be used; the message is one sentence for the person."""


class Bench:
    """A bench folder.

    Raises BenchError if `folder` is not a folder that exists.
    """

    def __init__(self, folder):
        self.folder = Path(folder).expanduser().resolve()
        if not self.folder.is_dir():
            raise BenchError(f"there is no folder '{folder}': make it, or choose another")

    def __repr__(self):
        return f"Bench({self.folder.name!r})"

    def file(self, name):
        """The path of a file of this bench, whether it exists or not.

        `name` is relative to the bench, like "runs/monday.csv". Raises BenchError for a name
        that leads outside, by "..", as an absolute path or through a link.
        """
        text = str(name)
        pure = PurePosixPath(text)
        if pure.is_absolute() or PureWindowsPath(text).drive or ".." in pure.parts or "\0" in text:
            raise BenchError(f"'{text}' leads outside the bench: name a file below it")
        path = (self.folder / text).resolve()
        if not path.is_relative_to(self.folder):
            raise BenchError(f"'{text}' is a link that leads outside the bench: copy the file in")
        return path

    def logs(self):
        """The logs under runs/, as names relative to the bench, in order of name."""
        return self._names("runs", lambda p: p.suffix.lower() in LOG_SUFFIXES)

    def builds(self):
        """The build files, as names relative to the bench."""
        return self._names("builds", lambda p: p.suffix == ".toml")

    def maps(self):
        """The compressor maps and turbine curves, as names relative to the bench."""
        return self._names("maps", lambda p: p.suffix == ".csv")

    def findings(self):
        """The findings saved under explain/, as names relative to the bench."""
        return self._names("explain", lambda p: p.name == "finding.toml")

    def series(self):
        """The series of findings saved under explain/, as names relative to the bench."""
        return self._names("explain", lambda p: p.name == "series.toml")

    def _names(self, part, wanted):
        found = sorted((self.folder / part).rglob("*"))
        # A link that leads outside is not of this bench, so it is not offered.
        return [
            p.relative_to(self.folder).as_posix()
            for p in found
            if p.is_file() and wanted(p) and p.resolve().is_relative_to(self.folder)
        ]


def short_name(name):
    """A file of the bench as a person sees it in a list: without what all in its folder share.

    >>> short_name("builds/small.toml"), short_name("runs/bad/late.csv")
    ('small', 'bad/late.csv')
    """
    folder, _, rest = name.partition("/")
    return rest.removesuffix(_SHARED[folder]) if folder in _SHARED else name


def digest(path):
    """The SHA-256 of a file's bytes, which tells whether it changed outside.

    Raises BenchError where it cannot be opened.
    """
    try:
        with Path(path).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BenchError(f"{Path(path).name} cannot be opened ({reason})") from None


def read_toml(path):
    """The TOML file as a tomlkit document, which keeps a person's comments when written back.

    Raises BenchError that names the file and the line.
    """
    path = Path(path)
    try:
        return tomlkit.parse(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BenchError(f"there is no file {path.name} in {path.parent.name}/") from None
    except UnicodeDecodeError:
        raise BenchError(f"{path.name} is not text in UTF-8: save it as UTF-8") from None
    except tomlkit.exceptions.TOMLKitError as error:
        reason = str(error).rstrip(".")
        raise BenchError(f"{path.name} cannot be read as TOML: {reason}") from None


def write_toml(path, data):
    """Write a dict or tomlkit document, atomically."""
    write_text(path, tomlkit.dumps(data))


def write_text(path, text):
    """Write UTF-8 text with plain line ends, atomically."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path, data):
    """Write a file so that a reader sees the old content or the new, never part of one.

    Raises BenchError with the reason where the folder cannot be written.
    """
    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # A part of its own for each process: two workbooks may save into one bench at once.
        part = f"{path.name}.{os.getpid()}.part"
        with atomic_save(str(path), text_mode=False, part_file=part, overwrite_part=True) as file:
            file.write(data)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BenchError(
            f"{path.name} could not be saved ({reason}): nothing was changed"
        ) from None
