"""From a file, whatever its form, to a Reading."""

from pathlib import Path

from toolkit.logs.question import LogError
from toolkit.logs.text_file import read_text


def read(path, answers=None):
    """The Reading of a log.

    path: text with separated columns, a workbook (.xlsx), Parquet or MDF; what it is, its first
    bytes say. answers: the review's `file` table, for what the file does not prove.

    Raises LogError, in one sentence, for a file that cannot be used, and Unanswered, which
    carries a Question, where two readings are plausible.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            start = file.read(8)
    except OSError as error:
        raise LogError(f"{path.name} cannot be opened: {error.strerror or error}") from None
    return _reader(start)(path, dict(answers or {}))


def _reader(start):
    """What reads a file that starts with these bytes; loaded on first use."""
    if start.startswith(b"PK"):
        from toolkit.logs.sheets import read_workbook

        return read_workbook
    if start.startswith(b"PAR1"):
        from toolkit.logs.parquet import read_parquet

        return read_parquet
    if start.startswith((b"MDF ", b"UnFinMF ")):
        from toolkit.logs.mdf4 import read_mdf

        return read_mdf
    return read_text
