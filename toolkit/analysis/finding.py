"""A comparison worth telling, kept in the bench as plain files: explain/<slug>/.

    finding.toml   title, sentences, settings, and every pull with its log and the log's SHA-256
    finding.csv    both sides' means, their difference and its band, along engine speed
    pulls.csv      each pull's bin averages: what the comparison is computed from again

A saved finding is loaded by comparing its pulls again, so that its numbers have one source.
"""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from boltons.strutils import slugify

from toolkit import units
from toolkit.analysis.compare import Comparison, Settings, compare
from toolkit.analysis.repeats import Repeat, Side
from toolkit.analysis.sensor_ends import LeftOut
from toolkit.analysis.verdict import Verdict, headline, verdicts
from toolkit.bench import BenchError, digest, read_toml, write_text, write_toml
from toolkit.logs.grid import Grid, smoothing_text

_SETTING_KINDS = {
    "confidence": "fraction", "low_rpm": "engine_speed", "high_rpm": "engine_speed",
    "spark_limit_deg": "angle", "lam_limit": "lambda", "sweep_limit": "fraction",
}  # fmt: skip
_TABLE, _PULLS, _WORDS = "finding.csv", "pulls.csv", "finding.toml"


@dataclass(frozen=True)
class Finding:
    """slug: its folder; title and note: the person's; system: units of the saved sentences.

    comparison: computed again from the saved pulls. verdicts: the sentences as saved.
    """

    slug: str
    title: str
    note: str
    system: str
    comparison: Comparison
    verdicts: tuple[Verdict, ...]


def save_finding(bench, comparison, system, title="", note="", slug=""):
    """Write a finding into the bench and return it.

    title: "" for the comparison's own headline. slug: the folder's name, "" for one made from the
    title that no other finding has; an existing one is replaced.

    Raises BenchError for a slug that is no plain name, or where the folder cannot be written.
    """
    title = title.strip() or headline(comparison, system)
    slug = slug or free_slug(bench, title)
    folder = _folder(bench, slug)
    said = verdicts(comparison, system)
    write_text(folder / _TABLE, table(comparison).to_csv(index=False, lineterminator="\n"))
    write_text(folder / _PULLS, _pulls_table(comparison).to_csv(index=False, lineterminator="\n"))
    words = {
        "title": title, "note": note, "units": system, "reference": comparison.reference,
        "smoothing": smoothing_text(comparison.settings.smoothing, _step(comparison)),
        "averaged_over": "{:.0f} to {:.0f} rpm".format(*comparison.range_rpm),
        "drift_corrected": comparison.drift_corrected,
        "files": {name: digest(folder / name) for name in (_TABLE, _PULLS)},
        "settings": _settings_words(comparison.settings),
        "base": _side_words(comparison.a), "against": _side_words(comparison.b),
        "verdicts": [vars(v) for v in said],
    }  # fmt: skip
    write_toml(folder / _WORDS, words)  # last: a folder without it is no finding
    return Finding(slug, title, note, system, comparison, said)


def load_finding(bench, slug):
    """The finding saved under this slug.

    Raises BenchError with one sentence where a file is missing, was changed by hand so that it
    cannot be read, or no longer belongs to the others.
    """
    words_at, table_at, pulls_at = (file_of(bench, slug, n) for n in (_WORDS, _TABLE, _PULLS))
    words = read_toml(words_at).unwrap()
    try:
        for path in (table_at, pulls_at):
            check_unchanged(path, slug, words)
        pulls = _read_pulls(pulls_at)
        sides = [_side(words[key], pulls[pulls["side"] == key]) for key in ("base", "against")]
        comparison = compare(*sides, _settings(words["settings"]))
        said = tuple(Verdict(**v) for v in words["verdicts"])
        return Finding(slug, words["title"], words["note"], words["units"], comparison, said)
    except (KeyError, TypeError, ValueError) as error:
        if isinstance(error, BenchError):
            raise
        raise BenchError(f"{slug}/{_WORDS} cannot be used as a finding: {error}") from None


def changed_logs(bench, finding):
    """A sentence for each log of the finding that is gone or is no longer the one it came from."""
    sides = (finding.comparison.a, finding.comparison.b)
    repeats = [r for side in sides for r in side.repeats]
    known = dict(pair for r in repeats for pair in ((r.run, r.sha256), *r.also))
    return tuple(
        sentence for run, sha in known.items() if (sentence := source_changed(bench, run, sha))
    )


def table(comparison):
    """Both sides along engine speed, the difference and its band; SI, units in the names."""
    columns = {"speed_rpm": comparison.speed_rpm}
    names = comparison.a.name, comparison.b.name
    for channel, gain in comparison.gains.items():
        for name, level in zip(names, (gain.level_a, gain.level_b), strict=True):
            columns[f"{name}: {channel}"] = level
        columns[f"{names[1]} less {names[0]}: {channel}"] = gain.difference
        columns[f"band (half-width): {channel}"] = gain.half_width
    return pd.DataFrame(columns)


# ---- words and tables -----------------------------------------------------------------------


def _folder(bench, slug):
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]*", slug):
        raise BenchError(f"'{slug}' is no name for a finding: use small letters, digits and -")
    return bench.file(f"explain/{slug}")


def file_of(bench, slug, name):
    """One file of a finding; a link in its folder that leads outside is refused like any other."""
    return bench.file(_folder(bench, slug).relative_to(bench.folder) / name)


def check_unchanged(path, slug, words):
    """Raises BenchError where a file of a finding is lost or not as its words say it was saved."""
    if not path.exists():
        raise BenchError(f"the finding '{slug}' has lost its file {path.name}")
    if digest(path) != words["files"][path.name]:
        raise BenchError(f"{slug}/{path.name} was changed after it was saved: save it again")


def slug_of(name):
    """The folder under explain/ of a file that `Bench` names.

    >>> slug_of("explain/demo/finding.toml")
    'demo'
    """
    return name.split("/")[1]


def free_slug(bench, title):
    """A folder's name made from a title that nothing else under explain/ has."""
    plain = slugify(title.split(";")[0], delim="-", ascii=True).decode()
    # What has no plain letter comes out as a question mark, and is left out.
    stem = re.sub(r"[^a-z0-9]+", "-", plain)[:60].strip("-") or "finding"
    taken = {slug_of(name) for name in (*bench.findings(), *bench.series())}
    names = [stem, *(f"{stem}-{n}" for n in range(2, len(taken) + 2))]
    return next(name for name in names if name not in taken)


def _step(comparison):
    return comparison.a.repeats[0].grid.step_rpm


def _settings_words(settings):
    """Settings as strings with units; None is left out."""
    words = {
        name: units.exact_text(value, kind)
        for name, kind in _SETTING_KINDS.items()
        if (value := getattr(settings, name)) is not None
    }
    return words | {
        "smoothing_bins": settings.smoothing, "correct_drift": settings.correct_drift
    }  # fmt: skip


def _settings(words):
    known = {
        name: units.exact(words[name], kind)
        for name, kind in _SETTING_KINDS.items()
        if name in words
    }
    return Settings(
        **known, smoothing=words["smoothing_bins"], correct_drift=words["correct_drift"]
    )


def _side_words(side):
    return {"name": side.name, "pulls": [_pull_words(r) for r in side.repeats]}


def _pull_words(repeat):
    words = {"log": repeat.run, "sha256": repeat.sha256, "pull": repeat.pull}
    words |= {"sweep": f"{repeat.sweep_rpm_s:.10g} rpm/s", "reference": repeat.reference}
    words |= {"session": repeat.session} if repeat.session else {}
    words |= {"hour": repeat.hour} if repeat.hour is not None else {}
    also = [{"log": log, "sha256": sha} for log, sha in repeat.also]
    words |= {"also": also} if also else {}
    gone = [
        {"channel": g.channel, "from": f"{g.low_rpm:.10g} rpm", "to": f"{g.high_rpm:.10g} rpm"}
        for g in repeat.left_out
    ]
    return words | ({"left_out": gone} if gone else {})


def _pulls_table(comparison):
    """One row per pull and bin: side, log, number, then the channels."""
    parts = []
    for key, side in (("base", comparison.a), ("against", comparison.b)):
        for repeat in side.repeats:
            head = {"side": key, "log": repeat.run, "pull": repeat.pull}
            grid = {"speed_rpm": repeat.grid.speed_rpm, "rows": repeat.grid.rows}
            means = {c: v for c, v in repeat.grid.mean.items() if c != "speed_rpm"}
            parts.append(pd.DataFrame(grid | means).assign(**head))
    every = pd.concat(parts, ignore_index=True)
    first = ["side", "log", "pull", "speed_rpm", "rows"]
    return every[first + [c for c in every if c not in first]]


def _read_pulls(path):
    """The table as it was written, to the last digit (a fast reader may round the last one)."""
    text = pd.read_csv(path, dtype=str)
    return text.astype(dict.fromkeys(text.columns[2:], float))


def _side(words, rows):
    return Side(words["name"], tuple(_repeat(pull, rows) for pull in words["pulls"]))


def _repeat(words, rows):
    own = rows[(rows["log"] == words["log"]) & (rows["pull"] == words["pull"])]
    speed, n = own["speed_rpm"].to_numpy(float), own["rows"].to_numpy(int)
    channels = [c for c in own.columns[5:] if own[c].notna().any()]
    mean = {c: own[c].to_numpy(float) for c in channels}
    # The scatter of rows within a bin is not kept: the comparison does not use it.
    grid = Grid(speed, n, mean, dict.fromkeys(channels, speed * np.nan), dict.fromkeys(channels, n))
    return Repeat(
        words["log"], words["pull"], grid, float(words["sweep"].split()[0]), words.get("hour"),
        words.get("session", ""), words["reference"], words["sha256"],
        tuple((a["log"], a["sha256"]) for a in words.get("also", ())),
        tuple(_left_out(gone) for gone in words.get("left_out", ())),
    )  # fmt: skip


def _left_out(words):
    return LeftOut(words["channel"], *(float(words[key].split()[0]) for key in ("from", "to")))


def source_changed(bench, run, sha):
    """A sentence where a file is gone or is not the one that a finding came from, else ""."""
    path = bench.file(run)
    if not path.exists():
        return f"{run} is no longer in the bench: the finding cannot be traced to it."
    if sha and digest(path) != sha:
        return f"{run} is not the file this finding came from: save it again."
    return ""
