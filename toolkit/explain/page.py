"""One self-contained page about a finding: live charts, words, numbers; it works offline.

Every word from a file or a person passes through Jinja's escaping or into JSON. Beyond that the
page's own security policy lets no script run but the three that are in it by their digest.
"""

import base64
import hashlib
import json
import re
from pathlib import Path

import numpy as np
from bokeh.embed import json_item
from bokeh.models import PlainText, Span
from bokeh.resources import Resources
from jinja2 import Environment, FileSystemLoader

from toolkit.charts import style
from toolkit.charts.live import LiveChart
from toolkit.explain.glossary import terms_in
from toolkit.explain.still import svg

_HERE = Path(__file__).parent
_FONT = f"{style.NUMBER_PX}px {style.FONT}"
LEGEND = "Solid is measured, dashed is worked out, dotted is estimated; a pale band is scatter."


def page(story):
    """The page about a story, as a file's bytes."""
    scripts = _scripts()
    rows = readout_rows(story)
    item, spec = _embedded(story)
    spec |= {"item": item, "rows": rows, "difference": _difference(story)}
    # Curves of no run have a column of their own where there is no difference to stand in it.
    alone = "all runs" if story.runs else "value"
    spec["value"] = "" if spec["difference"] or not any("other" in r for r in rows) else alone
    low, high = story.whole.x_limits
    step = _step(low, high)
    start = low + round((high - low) * 0.75 / step) * step
    made = template("page.html").render(
        title=story.headline,
        cautions=story.cautions,
        story=story,
        troubles=story.troubles,
        policy=_policy(scripts),
        style=text_of("page.css"),
        scripts=scripts,
        data=_json(spec),
        marks=marked(story.whole),
        readout=rows,
        difference=spec["difference"],
        value=spec["value"],
        legend=LEGEND,
        low=f"{low:g}",
        high=f"{high:g}",
        step=f"{step:g}",
        start=f"{start:g}",
        csv=data_url("text/csv;charset=utf-8", csv_of(story.table)),
        table=_table(story.table),
        poster=_poster(story),
        glossary=terms_in(_all_words(story)),
    )
    return made.encode("utf-8")


def csv_of(table):
    """A frame as the bytes of a CSV file; a cell of words can never become a formula."""
    names = [_no_formula(n) for n in (table.index.name or "", *table.columns)]
    frame = table.set_axis(names[1:], axis=1).rename_axis(names[0])
    return frame.to_csv(lineterminator="\n", float_format="%.6g").encode("utf-8")


def readout_rows(story):
    """What the cursor reads: a row per quantity with one curve per run, or one of no run."""
    colours = [colour for _, colour in story.runs]
    rows = {}
    for panel in story.whole.panels:
        if panel.x_label or panel.bare:
            continue
        # A lone curve beside two runs is their difference, which the panel's title names.
        named = len(colours) != 2 or sum(c[1] not in colours for c in _curves(panel)) > 1
        for label, colour, x, y, decimals in _curves(panel):
            run = colours.index(colour) if colour in colours else None
            quantity = "" if run is None else _without(label, story.runs[run][0])
            name = _row_name(panel, quantity or (label if run is None and named else ""))
            row = rows.setdefault(
                name, {"name": name, "decimals": decimals, "runs": [None] * len(colours)}
            )
            curve = {"x": _numbers(x), "y": _numbers(y)}
            if run is None:
                row["other"] = curve
            else:
                row["runs"][run] = curve
    rows = {
        name: row
        for name, row in rows.items()
        if not any(_is_difference(row, of) for of in rows.values())
    }
    shares = story.shares if story.shares is not None else {}
    for name in shares:
        curve = {"x": _numbers(shares.index), "y": _numbers(shares[name])}
        none = [None] * len(colours)
        rows[name] = {"name": name, "decimals": 1, "runs": none, "other": curve}
    return list(rows.values())


def _is_difference(row, of):
    """Whether a row only repeats the second run less the first of another, shown beside them."""
    if "other" not in row or any(row["runs"]) or len(of["runs"]) != 2 or not all(of["runs"]):
        return False
    first, second = of["runs"]
    if not first["x"] == second["x"] == row["other"]["x"]:
        return False
    a, b, c = (np.array(curve["y"], dtype=float) for curve in (first, second, row["other"]))
    return np.allclose(b - a, c, rtol=1e-6, equal_nan=True)


def marked(picture):
    """What is marked in a picture, in words and with its place on the axis."""
    out = []
    for panel in picture.panels:
        if panel.bare:
            continue
        unit = _unit(panel.x_label or picture.x_label)
        named = [(m.x, m.text) for m in panel.marks if m.dot]  # the others name areas
        named += [(u.x, u.text) for u in panel.uprights]
        named += [(z.start, z.text) for z in panel.zones]
        for x, text in named:
            place = f"{x:.0f}" if abs(x) >= 100 else f"{x:.3g}"
            out += [text if place in text else f"{text}, at {place}{unit}"] if text else []
    return out


def _unit(title):
    """The unit that a title names in brackets, after a blank; "" if none."""
    found = re.search(r"\[(.+?)\]", title)
    return f" {found.group(1)}" if found else ""


def _curves(panel):
    """(label, colour, x, y, decimals) of what the cursor reads: curves, and shares of a stack."""
    for line in panel.lines:
        if line.label and line.readout:
            places = panel.decimals if line.decimals is None else line.decimals
            yield line.label, line.colour, line.x, line.y, places
    for band in panel.bands:
        if band.label:
            yield band.label, band.colour, band.x, band.high - band.low, panel.decimals


def _row_name(panel, quantity):
    """The quantity with its unit: the curve's own, else the panel's title up to its unit."""
    if quantity:
        unit = _unit(panel.title)
        return f"{quantity[0].upper()}{quantity[1:]}" + (f" [{unit[1:]}]" if unit else "")
    return panel.title[: panel.title.index("]") + 1] if "]" in panel.title else panel.title


def _without(label, run):
    return label.replace(run, "", 1).strip(" ,:·") if run else label


def _numbers(values):
    return [float(v) if np.isfinite(v) else None for v in values]


def _difference(story):
    names = [name for name, _ in story.runs]
    return f"{names[1]} less {names[0]}" if len(names) == 2 else ""


def _embedded(story):
    """The chart for embedding, and the ids by which the page's script finds its parts."""
    chart = LiveChart(story.whole)
    panels = story.whole.panels
    chart.root.sizing_mode = "stretch_width"
    cursors = []
    for panel, drawn in zip(panels, chart.figures, strict=True):
        drawn.update(width=None, sizing_mode="stretch_width")
        # Plain text: words between dollar signs are words, and nothing is fetched to set them.
        drawn.title.text = PlainText(text=drawn.title.text)
        drawn.xaxis.axis_label = PlainText(text=drawn.xaxis[0].axis_label or "")
        if not (panel.x_label or panel.bare):
            span = Span(dimension="height", line_color=style.QUIET, line_width=2, editable=True)
            drawn.add_layout(span)
            cursors.append(span)
    sources = [s for s in chart.sources() if "colour" in s.data]
    item, new = _same_ids(json_item(chart.root, "chart"))
    names = [w for p in panels for *_, w, _ in p.end_labels(1) if not p.bare]
    shared = [f for f, p in zip(chart.figures, panels, strict=True) if not (p.x_label or p.bare)]
    return item, {
        "font": _FONT,
        "limits": list(story.whole.x_limits),
        "names": names,
        "kept": [*names, *(m.text for p in panels for m in p.marks if not m.dot)],
        "unit": _unit(story.picture.x_label),
        "runs": [{"colours": [c, style.readable(c)]} for _, c in story.runs],
        "borders": max((f.min_border_left + f.min_border_right for f in shared), default=0),
        "shared": [
            {"id": new[f.id], "title": f.title.text.text, "height": f.height} for f in shared
        ],
        "cursors": [new[s.id] for s in cursors],
        "sources": [new[s.id] for s in sources],
        "words": [new[s.id] for s in chart.sources("words", "leaders")],
    }


def _same_ids(item):
    """The item with ids counted from 1, so that the same story gives the same bytes.

    Ids stand under the key "id" only; what a person wrote never stands under a key.
    """
    new = {}

    def renamed(part):
        if isinstance(part, dict):
            return {
                k: new.setdefault(v, f"p{len(new) + 1}") if k == "id" else renamed(v)
                for k, v in part.items()
            }
        return [renamed(p) for p in part] if isinstance(part, list) else part

    doc = renamed(item["doc"])
    return {**item, "doc": doc, "root_id": new[item["root_id"]]}, new


def _scripts():
    """The scripts of the page; a browser reads line ends as \\n, and so do their digests."""
    drawing = Resources(mode="inline", components=["bokeh"]).js_raw
    return [s.replace("\r\n", "\n") for s in (*drawing, text_of("page.js"))]


def _policy(scripts):
    digests = (hashlib.sha256(s.encode("utf-8")).digest() for s in scripts)
    allowed = " ".join(f"'sha256-{base64.b64encode(d).decode()}'" for d in digests)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )


def _json(data):
    """JSON that can stand inside a script element whatever words are in it."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _table(frame):
    rows = [
        [f"{x:g}", *(f"{v:.4g}" if np.isfinite(v) else "not known" for v in row)]
        for x, row in zip(frame.index, frame.to_numpy(dtype=float), strict=True)
    ]
    return {"header": [frame.index.name or "", *frame.columns], "rows": rows}


def _poster(story):
    if story.poster is None:
        return None
    shapes = {"wide": (1600, 900), "upright": (720, 1280)}
    drawn = {n: data_url("image/svg+xml", svg(story.poster(s), s)) for n, s in shapes.items()}
    return drawn | {"words": story.poster(shapes["wide"]).description}


def data_url(kind, data):
    """An address that is the data itself."""
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"


def _all_words(story):
    parts = [story.headline, story.whole.description, *story.method, *story.cautions]
    parts += [s.text for s in story.sentences] + [s.evidence for s in story.sentences]
    return " ".join([*parts, *(f"{word} {text}" for word, text in story.card)])


def _step(low, high):
    """A round step of the cursor, about 350 to the whole axis."""
    wanted = (high - low) / 350
    power = 10.0 ** np.floor(np.log10(wanted))
    return float(next(s * power for s in (1, 2, 5, 10) if s * power >= wanted))


def _no_formula(name):
    return f"'{name}" if str(name)[:1] in "=+-@\t\r" and name else str(name)


def template(name):
    """A page's template of this folder; whatever is put into it is escaped."""
    found = FileSystemLoader(_HERE)
    made = Environment(loader=found, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    return made.get_template(name)


def text_of(name):
    """A file of this folder."""
    return (_HERE / name).read_text(encoding="utf-8")
