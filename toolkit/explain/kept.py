"""What a panel showed, kept as a finding: a match, a gate's verdict, a what-if.

    explain/<slug>/finding.toml   kind, title, sentences, cited numbers, what it came from
    explain/<slug>/picture.json   the picture as it was drawn: words and numbers, nothing else

A comparison is computed again from its pulls when it is loaded (analysis/finding.py). These hang on
builds and maps that change under a person's hands, so they stay as they were saved, in the units of
that day, and say which files they came from.
"""

import json
import re
from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from typing import get_type_hints

import numpy as np

from toolkit import units
from toolkit.analysis import finding
from toolkit.bench import BenchError, digest, read_toml, write_text, write_toml
from toolkit.charts import picture as drawn
from toolkit.charts import style
from toolkit.charts.picture import Picture
from toolkit.explain.headline import Cited
from toolkit.explain.method_card import INVENTED
from toolkit.explain.story import CAUTIONS, Sentence, Story

_WORDS, _PICTURE = "finding.toml", "picture.json"
_PARTS = {
    "panels": drawn.Panel, "lines": drawn.Line, "bands": drawn.Band, "shapes": drawn.Shape,
    "marks": drawn.Mark, "uprights": drawn.Upright, "zones": drawn.Zone,
}  # fmt: skip
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


@dataclass(frozen=True)
class Kept:
    """A finding that is kept as it was drawn.

    kind: what it is, in words ("match"). picture: in the units of `system`; its finding is the
    headline. runs: name and colour of each curve that has both. cited: the numbers that the
    headline may cite. card, method: as a Story has them. sources: (file of the bench, SHA-256) of
    what it came from. spoken: what a voice says over a clip; the sentences where empty. slug,
    title, note: set when it is saved.
    """

    kind: str
    system: str
    picture: Picture
    sentences: tuple[Sentence, ...]
    cited: tuple[Cited, ...]
    runs: tuple[tuple[str, str], ...]
    card: tuple[tuple[str, str], ...]
    method: tuple[str, ...]
    evidence: str
    sources: tuple[tuple[str, str], ...] = ()
    spoken: tuple[Sentence, ...] = ()
    slug: str = ""
    title: str = ""
    note: str = ""


def sources_of(bench, names):
    """(name, SHA-256) of files of the bench, each once."""
    return tuple((name, digest(bench.file(name))) for name in dict.fromkeys(names))


def save_kept(bench, kept, title="", note=""):
    """Write it into the bench under a name of its own; returns it with slug, title and note.

    Raises BenchError where the folder cannot be written.
    """
    title = title.strip() or kept.picture.finding
    slug = finding.free_slug(bench, title)
    text = json.dumps(_plain(kept.picture), indent=1, ensure_ascii=False, allow_nan=False)
    path = finding.file_of(bench, slug, _PICTURE)
    write_text(path, text + "\n")
    words = {
        "kind": kept.kind, "title": title, "note": note, "units": kept.system,
        "evidence": kept.evidence, "method": list(kept.method),
        "files": {_PICTURE: digest(path)},
        "runs": [{"name": n, "colour": c} for n, c in kept.runs],
        "card": [{"word": w, "text": t} for w, t in kept.card],
        "sources": [{"file": n, "sha256": s} for n, s in kept.sources],
        "sentences": [_plain(s) for s in kept.sentences],
        "spoken": [_plain(s) for s in kept.spoken],
        "cited": [_plain(c) for c in kept.cited],
    }  # fmt: skip
    write_toml(finding.file_of(bench, slug, _WORDS), words)  # last: without it it is no finding
    return replace(kept, slug=slug, title=title, note=note)


def open_finding(bench, slug):
    """The finding saved under this slug: a Kept, or the analysis.finding.Finding of a comparison.

    Raises BenchError with one sentence where a file is missing or was changed by hand.
    """
    words = read_toml(finding.file_of(bench, slug, _WORDS)).unwrap()
    return _loaded(bench, slug, words) if "kind" in words else finding.load_finding(bench, slug)


def changed_sources(bench, kept):
    """A sentence for each file it came from that is gone or has changed since."""
    found = (finding.source_changed(bench, name, sha) for name, sha in kept.sources)
    return tuple(sentence for sentence in found if sentence)


def story_of_kept(kept, system, title="", demo=False):
    """Its Story, in the units it was saved in; where others are in force it says so."""
    said = title.strip() or kept.title or kept.picture.finding
    note = (kept.note,) if kept.note else ()
    units_said = () if system == kept.system else (
        f"Shown in {kept.system} units, as it was saved.",
    )  # fmt: skip
    sources = ", ".join(f"{name} (SHA-256 {sha[:12]})" for name, sha in kept.sources)
    from_files = (f"It came from: {sources}.",) if sources else ()
    card = (*kept.card, INVENTED) if demo else kept.card
    return Story(
        slug=kept.slug, headline=said, picture=replace(kept.picture, finding=said),
        sentences=kept.sentences, spoken=tuple(_short(kept.spoken or kept.sentences)),
        cited=kept.cited,
        card=card, method=(*note, *kept.method, *units_said, *from_files),
        cautions=CAUTIONS, table=kept.picture.table(), runs=kept.runs, system=kept.system,
        evidence=kept.evidence,
    )  # fmt: skip


def _short(sentences):
    """One sentence at a time, for a voice."""
    for said in sentences:
        for text in re.split(r"(?<=[a-z0-9)%])[.;] (?=[A-Za-z])", said.text):
            yield Sentence(f"{text[:1].upper()}{text[1:].rstrip('.')}.", said.evidence, said.at_rpm)


# ---- to plain data and back -----------------------------------------------------------------


def _plain(thing):
    """A dataclass as what JSON and TOML hold; what stands at its default is left out."""
    if is_dataclass(thing):
        held = {f.name: (getattr(thing, f.name), f.default) for f in fields(thing)}
        return {n: _plain(v) for n, (v, usual) in held.items() if not _usual(v, usual)}
    if isinstance(thing, np.ndarray | tuple | list):
        return [_plain(v) for v in thing]
    if isinstance(thing, float | np.floating):
        return float(f"{thing:.10g}") if np.isfinite(thing) else None
    return thing.item() if isinstance(thing, np.generic) else thing


def _usual(value, default):
    return default is not MISSING and type(value) is type(default) and value == default


def _loaded(bench, slug, words):
    try:
        path = finding.file_of(bench, slug, _PICTURE)
        finding.check_unchanged(path, slug, words)
        if words["units"] not in units.SYSTEMS:
            raise ValueError(f"units are {words['units']!r}")
        return Kept(
            str(words["kind"]), words["units"],
            _made(Picture, json.loads(path.read_text(encoding="utf-8"))),
            tuple(Sentence(**s) for s in words["sentences"]),
            tuple(_made(Cited, c) for c in words["cited"]),
            tuple((str(r["name"]), _colour(r["colour"])) for r in words["runs"]),
            tuple((str(r["word"]), str(r["text"])) for r in words["card"]),
            tuple(map(str, words["method"])), words["evidence"],
            tuple((str(s["file"]), str(s["sha256"])) for s in words["sources"]),
            tuple(Sentence(**s) for s in words["spoken"]),
            slug, str(words["title"]), str(words["note"]),
        )  # fmt: skip
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        if isinstance(error, BenchError):
            raise
        raise BenchError(f"{slug}/{_WORDS} cannot be used as a finding: {error}") from None


def _made(cls, data):
    """A part of a picture from plain data; ValueError for a name or a value it cannot have."""
    hints = get_type_hints(cls)
    unknown = set(data) - set(hints)
    if unknown:
        raise ValueError(f"{cls.__name__} has no '{sorted(unknown)[0]}'")
    return cls(**{name: _value(name, hints[name], value) for name, value in data.items()})


def _value(name, hint, value):
    if name in _PARTS:
        return tuple(_made(_PARTS[name], each) for each in value)
    if hint is np.ndarray:
        return np.array([np.nan if v is None else _number(v) for v in value])
    if name in ("colour", "outline"):
        return _colour(value) if value else ""
    if name == "evidence" and value not in style.DASHES:
        raise ValueError(f"'{value}' is no evidence word")
    if hint is str:
        return _as(str, value)
    if hint is bool:
        return _as(bool, value)
    if hint in (int, float):
        return hint(np.nan if value is None else _number(value))
    if isinstance(value, list):  # a pair of numbers, or words
        return tuple(v if isinstance(v, str) else _number(v) for v in value)
    if value is None:
        return None
    return int(_number(value)) if hint == int | None else _number(value)


def _as(kind, value):
    if not isinstance(value, kind):
        raise ValueError(f"{value!r} is not {'words' if kind is str else 'true or false'}")
    return value


def _number(value):
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is no number")
    return float(value)


def _colour(value):
    if not isinstance(value, str) or not _COLOUR.fullmatch(value):
        raise ValueError(f"{value!r} is no colour")
    return value
