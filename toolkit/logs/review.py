"""What was decided about a log, kept beside it in runs/<log>.review.toml.

Plain strings with units, so that a person can read and mend it; comments survive a save. The
log itself is never changed.
"""

from dataclasses import dataclass, field, replace
from pathlib import PurePosixPath

import tomlkit

from toolkit import bench as benches
from toolkit.logs.question import LogError
from toolkit.physics.correction import STANDARDS

OBSERVED = "observed"
_COLUMN_ITEMS = ("channel", "unit", "reference", "offset", "delay", "sentinel", "why")
_TABLES = ("test", "file", "weather", "clock", "limits")
_LISTS = ("pulls", "notes")
_WORDS = ("log", "sha256", "power_reference")


@dataclass(frozen=True)
class Review:
    """Decisions about one log.

    log: the file's name; sha256: of its bytes when it was last saved. test: label,
    configuration ("turbo" ...) and other words about the test. file: answers on how the file
    is written. columns: by column name, a dict of channel, unit, reference (gauge or absolute),
    offset, delay, sentinel, why. weather: strings with units. clock: how this log's clock runs
    against that of another (see clocks.ClockFit.to_strings). limits: what counts as a sign of
    trouble, where it is not the usual (see signs.Limits.to_strings). pulls, notes: dicts of
    strings, in order.
    power_reference: "observed", or the standard that power in the log is already corrected to.
    stands: the SHA-256 of the review file that this one continues, "" where there was none, None
    for a review that was not loaded; it is not written.
    """

    log: str = ""
    sha256: str = ""
    power_reference: str = OBSERVED
    test: dict[str, str] = field(default_factory=dict)
    file: dict[str, str] = field(default_factory=dict)
    weather: dict[str, str] = field(default_factory=dict)
    clock: dict[str, str] = field(default_factory=dict)
    limits: dict[str, str] = field(default_factory=dict)
    columns: dict[str, dict[str, str]] = field(default_factory=dict)
    pulls: tuple[dict[str, str], ...] = ()
    notes: tuple[dict[str, str], ...] = ()
    stands: str | None = field(default=None, compare=False, repr=False)

    @classmethod
    def load(cls, bench, log):
        """The review of a log of this bench; an empty one where none was saved.

        Raises LogError that names the key where the file holds something else than strings.
        """
        path = bench.file(review_name(log))
        stands = _stands(path)
        if not stands:
            return cls(log=PurePosixPath(log).name, stands="")
        return cls(**_checked(_document(path).unwrap(), path.name), stands=stands)

    def save(self, bench, log):
        """Write the review beside its log, atomically; what a person added in comments stays.

        Returns the review as it stands now. Raises BenchError where the file is no longer the
        one that was loaded: another workbook or a person has written it since.
        """
        path = bench.file(review_name(log))
        if self.stands is not None and self.stands != _stands(path):
            raise benches.BenchError(
                f"{path.name} was changed elsewhere since it was opened, so nothing was saved: "
                "read the log again, then repeat what you decided"
            )
        document = _document(path) if path.exists() else _fresh(log)
        _update(document, self._as_dict())
        benches.write_toml(path, document)
        return replace(self, stands=_stands(path))

    def answered(self, key, answer):
        """A copy with the answer to a question (see Question.key) put in its place.

        What was said about a column's reasons before no longer holds, and goes.

        >>> Review().answered(("columns", "Boost", "unit"), "psi").columns
        {'Boost': {'unit': 'psi'}}
        """
        part, *rest = key
        if part == "columns":
            name, item = rest
            old = {k: v for k, v in self.columns.get(name, {}).items() if k != "why"}
            return replace(self, columns={**self.columns, name: {**old, item: answer}})
        if part in _TABLES:
            return replace(self, **{part: {**getattr(self, part), rest[0]: answer}})
        if part not in _WORDS:
            raise LogError(f"a review has no part '{part}'")
        return replace(self, **{part: answer})

    def with_column(self, name, **items):
        """A copy with these items of one column set."""
        return replace(
            self, columns={**self.columns, name: {**self.columns.get(name, {}), **items}}
        )

    def of_column(self, name, item):
        """One item of a column, or "" if it was not decided."""
        return self.columns.get(name, {}).get(item, "")

    def _as_dict(self):
        data = {k: getattr(self, k) for k in (*_WORDS, *_TABLES, "columns")}
        data |= {k: [dict(d) for d in getattr(self, k)] for k in _LISTS}
        return {k: v for k, v in data.items() if v}


def review_name(log):
    """The name of the review of a log: "runs/x.csv" -> "runs/x.csv.review.toml"."""
    return f"{log}.review.toml"


def _stands(path):
    return benches.digest(path) if path.exists() else ""


def _document(path):
    try:
        return benches.read_toml(path)
    except benches.BenchError as error:
        raise LogError(str(error)) from None


def _fresh(log):
    document = tomlkit.document()
    document.add(tomlkit.comment(f"What was decided about {PurePosixPath(log).name}."))
    document.add(tomlkit.comment("The log itself is never changed."))
    return document


def _update(table, data):
    """Make a TOML table hold exactly `data`, touching only what differs."""
    for key in [k for k in table if k not in data]:
        del table[key]
    for key, value in data.items():
        old = table.get(key)
        if isinstance(old, dict) and isinstance(value, dict):
            _update(old, value)
        elif old is None or old != value:
            table[key] = value


def _checked(data, name):
    """The TOML data as arguments of Review; every value is a string, every key is known."""
    for key, value in data.items():
        if key in _WORDS:
            _string(value, key, name)
            if key == "power_reference" and value not in (OBSERVED, *STANDARDS):
                known = ", ".join((OBSERVED, *STANDARDS))
                raise LogError(f"{name}: {key} is '{value}', which is not known: write {known}")
        elif key in _TABLES:
            _strings(value, f"[{key}]", name)
        elif key == "columns":
            _columns(value, name)
        elif key in _LISTS:
            _list(value, key, name)
        else:
            known = ", ".join((*_WORDS, *_TABLES, "columns", *_LISTS))
            raise LogError(f"{name} has a part '{key}' that is not known: it may hold {known}")
    return data | {k: tuple(data.get(k, ())) for k in _LISTS}


def _string(value, key, name):
    if not isinstance(value, str):
        raise LogError(f'{name}: {key} is {value!r}: write it as text, like {key} = "{value}"')


def _strings(value, key, name):
    if not isinstance(value, dict):
        raise LogError(f"{name}: {key} is {value!r}: it must be a table of texts")
    for item, text in value.items():
        _string(text, f"{key} {item}", name)


def _columns(value, name):
    _strings({} if isinstance(value, dict) else value, "[columns]", name)
    for column, items in value.items():
        _strings(items, f"[columns.{column!r}]", name)
        for item in items:
            if item not in _COLUMN_ITEMS:
                known = ", ".join(_COLUMN_ITEMS)
                raise LogError(
                    f"{name}: column {column!r} has '{item}', which is not known: "
                    f"it may have {known}"
                )


def _list(value, key, name):
    if not isinstance(value, list):
        raise LogError(f"{name}: {key} is {value!r}: write it as [[{key}]]")
    for place, item in enumerate(value, start=1):
        _strings(item, f"[[{key}]] number {place}", name)
