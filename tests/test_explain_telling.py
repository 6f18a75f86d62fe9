from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from toolkit.analysis.compare import Settings, compare
from toolkit.analysis.finding import Finding
from toolkit.analysis.repeats import Repeat, Side
from toolkit.analysis.review_notes import PlacedNote, notes_of
from toolkit.analysis.split import split
from toolkit.analysis.verdict import headline, verdicts
from toolkit.bench import Bench
from toolkit.build import read_build
from toolkit.explain.headline import Cited, contradictions
from toolkit.explain.looks import PLACES
from toolkit.explain.method_card import method_card
from toolkit.explain.poster import Reading, circle, readings
from toolkit.explain.sheet import Sheet
from toolkit.explain.telling import cited_values, story_of, table
from toolkit.logs.grid import Grid
from toolkit.logs.notes import CurveNote, Notes
from toolkit.logs.review import Review
from toolkit.preferences import DEMO_BENCH

SPEED = np.arange(3000.0, 6600.0, 100.0)
RISE = (SPEED - 3000) / 3500
BAROMETER = 98e3


def grid(torque, back, lift):
    mean = {
        "torque_nm": torque + lift,
        "p_manifold_pa": np.full(len(SPEED), BAROMETER + 96e3),
        "p_exhaust_pa": BAROMETER + back,
        "p_cell_pa": np.full(len(SPEED), BAROMETER),
        "t_charge_k": np.full(len(SPEED), 315.0),
        "lam": np.full(len(SPEED), 0.82),
    }
    some = dict.fromkeys(mean, SPEED * np.nan)
    return Grid(SPEED, np.full(len(SPEED), 20), mean, some, dict.fromkeys(mean, some["lam"]))


def side(name, torque, back, pulls=3):
    log = f"runs/{name.lower()}.csv"
    return Side(
        name,
        tuple(
            Repeat(log, n + 1, grid(torque, back, lift), 400.0, 9.0 + n, "2026-04-18")
            for n, lift in zip(range(pulls), (-2.0, 0.0, 2.0), strict=False)
        ),
    )


@cache
def comparison(a="Small", b="Large", pulls=3):
    falling = 600 - 160 * RISE**2
    return compare(
        side(a, falling, 60e3 + 90e3 * RISE, pulls),
        side(b, falling - 60 + 140 * RISE, 40e3 + 60e3 * RISE, pulls),
    )


@cache
def finding(note="", system="US", **names):
    c = comparison(**names)
    return Finding("large", headline(c, system), note, system, c, verdicts(c, system))


def test_the_headline_is_the_findings_own_and_agrees_with_its_numbers():
    story = story_of(finding(), "US")
    assert story.headline == finding().title
    assert story.troubles == []
    assert story.picture.finding == story.headline


def test_in_the_other_system_the_headline_is_said_anew():
    story = story_of(finding(), "SI")
    assert "kW" in story.headline or "N m" in story.headline
    assert story.troubles == []


def test_the_persons_own_title_is_kept_in_the_other_system():
    story = story_of(of(leaning(), "Large makes 47 hp more at 6500 rpm: keep it"), "SI")
    assert story.headline == "Large makes 47 hp more at 6500 rpm: keep it"
    assert story.troubles == [] and "kW" in story.spoken[1].text


def test_an_edited_headline_that_contradicts_says_why():
    story = story_of(finding(), "US", title="Large makes 400 hp more at 6500 rpm")
    assert len(story.troubles) == 1
    assert story.troubles[0].startswith("400 hp: the difference in power is")


def test_what_the_headline_cites_is_marked_where_it_is():
    c = comparison()
    gain = c.gains["torque_nm"].difference[-1] / 1.3558179
    story = story_of(finding(), "US", title=f"Large makes {gain:.0f} lb-ft more at 6500 rpm")
    (mark,) = story.picture.panels[0].marks
    assert mark.text == f"+{gain:.0f} lb-ft at 6500 rpm"
    assert mark.x == 6500
    assert mark.y == pytest.approx(c.gains["torque_nm"].level_b[-1] / 1.3558179)
    assert story.picture.panels[0].title.startswith("Torque")


def test_every_cited_value_is_a_number():
    cited = cited_values(comparison())
    assert all(isinstance(c, Cited) and np.isfinite(c.value) for c in cited)
    assert {"difference in torque", "boost of Small", "crossing of Small"} <= {
        c.words for c in cited
    }


def test_sentences_stand_where_they_belong_and_keep_their_evidence():
    sentences = story_of(finding(), "US").sentences
    places = {s.text.split(" ")[1]: s.at_rpm for s in sentences if s.at_rpm}
    assert places["Small"] == pytest.approx(4400, abs=60)  # back pressure passes boost
    assert {s.evidence for s in sentences} <= {"measured", "worked out", "estimated", "cannot tell"}


def test_the_table_is_in_the_persons_units():
    in_us, in_si = (table(comparison(), system) for system in ("US", "SI"))
    column = "Large: torque"
    assert in_si[f"{column} [N m]"].iloc[0] == pytest.approx(540)
    assert in_us[f"{column} [lb-ft]"].iloc[0] == pytest.approx(540 / 1.3558179)
    gap = in_us["Large less Small: charge temperature [°F]"]
    assert gap.abs().max() == pytest.approx(0, abs=1e-9)  # a difference has no offset


def test_the_method_card_says_what_a_sceptic_asks():
    card = dict(method_card(comparison(), "US", demo=True))
    assert card["Changed"] == "Small to Large"
    assert card["Pulls"].startswith("3 Small, 3 Large, 1 day")
    assert "lambda within" in card["Kept"] and "spark unknown" in card["Kept"]
    assert card["Barometer"] == "28.94 inHg"
    assert "spark" in card["Not measured"] and "charge" not in card["Not measured"]
    assert card["Smoothing"].startswith("no smoothing")
    assert card["Data"] == "invented for demonstration"
    assert "Data" not in dict(method_card(comparison(), "US"))


def test_with_one_pull_nothing_is_claimed():
    story = story_of(finding(pulls=1), "US")
    assert "scatter unknown" in story.headline
    assert story.troubles == []


def leaning(slope=0.03, pulls=(3, 3), settings=None, hole=(), **more):
    """Small level, Large rising through it at 4800 rpm; hole: bins without rows on Large."""
    a, b = (side(n, 400 + (SPEED - 4800) * k, 60e3 + 90e3 * RISE, p)
            for n, k, p in zip(("Small", "Large"), (0, slope), pulls, strict=True))  # fmt: skip
    for repeat in b.repeats:
        for values in repeat.grid.mean.values():
            values[np.isin(SPEED, hole)] = np.nan
    return replace(compare(a, b, settings), **more)


def of(c, title="", system="US"):
    return Finding("x", title or headline(c, system), "", system, c, verdicts(c, system))


def test_below_the_crossover_the_headline_does_not_contradict_itself():
    said = headline(leaning(settings=Settings(high_rpm=4500)), "US")
    assert said == "Small makes 23 hp more at 3000 rpm; Large leads above 4800 rpm"
    assert story_of(of(leaning(settings=Settings(high_rpm=4500))), "US").troubles == []
    assert headline(leaning(), "US").endswith("; Small leads below 4800 rpm")


def test_a_crossover_over_a_hole_is_told_as_far_as_it_is_seen():
    c = leaning(hole=(4700, 4800, 4900))
    assert np.isnan(c.crossovers["power_w"][0].speed_rpm)
    assert headline(c, "US").endswith("; Small leads up to 4600 rpm")
    assert any("up to 4600 rpm and Large from 5000 rpm" in v.text for v in verdicts(c, "US"))
    assert all(np.isfinite(found.value) for found in cited_values(c))
    assert story_of(of(c), "US").troubles == []
    unknown = [*cited_values(c), Cited("crossover", np.nan, "engine_speed")]
    assert contradictions("Large makes 47 hp more at 6500 rpm", unknown) == []
    assert contradictions("boost falls at 9000 rpm", unknown)


def on_average(c):
    return next(s for s in story_of(of(c), "US").spoken if "average" in s.text)


@pytest.mark.parametrize("pulls", [(1, 1), (3, 1)])
def test_an_unknown_scatter_is_no_small_one(pulls):
    said = on_average(leaning(pulls=pulls))
    assert "scatter is unknown" in said.text and said.evidence == "cannot tell"


def test_an_average_that_is_not_known_is_not_within_the_scatter():
    c = leaning()
    nothing = replace(c.average["power_w"], difference=np.nan, half_width=np.nan)
    said = on_average(replace(c, average=c.average | {"power_w": nothing, "torque_nm": nothing}))
    assert "Not every pull has rows" in said.text and "scatter" not in said.text


def test_corrected_numbers_are_worked_out_wherever_they_are_told():
    settings = Settings(low_rpm=5500)
    for more in ({"reference": "SAE J1349"}, {"drift_corrected": True}):
        spoken = story_of(of(leaning(settings=settings, **more)), "US").spoken
        told = {s.evidence for s in spoken if "leads" in s.text or "average" in s.text}
        assert told == {"worked out"}
        c = leaning(**more)
        assert all(v.evidence == "worked out" for v in verdicts(c, "US") if "leads" in v.text)
    plain = story_of(of(leaning(settings=settings)), "US").spoken
    assert {s.evidence for s in plain if "leads" in s.text} == {"measured"}


def test_a_difference_outside_the_range_decides_no_headline():
    # Within 100 rpm of the crossover the pulls' scatter is larger than what they differ by.
    near = Settings(low_rpm=4700, high_rpm=4900)
    story = story_of(of(leaning(settings=near)), "US")
    assert "no difference beyond the scatter" in story.headline
    assert story.evidence == "cannot tell"


def review_note(channel="p_manifold_pa", at=5000.0, words="boost falls away"):
    return PlacedNote("a", CurveNote(words, channel, "speed_rpm", at, at))


def test_a_review_note_stands_on_its_curve_and_can_be_moved():
    kept = story_of(finding(), "US", notes=[review_note()]).picture.panels[-1].marks
    assert [(m.x, round(m.y, 2), m.text) for m in kept] == [(5000, 13.92, "boost falls away")]
    assert kept[0].at[1] < kept[0].y  # towards the middle, where there is room
    placed = replace(review_note(), stands=(4000.0, 0.5))
    (moved,) = story_of(finding(), "US", notes=[placed]).picture.panels[-1].marks
    low, high = story_of(finding(), "US").picture.panels[-1].y_limits
    assert moved.at == (4000.0, pytest.approx((low + high) / 2))


def test_a_note_on_a_curve_that_is_not_drawn_is_not_lost():
    story = story_of(finding(), "US", notes=[review_note("lam", words="lean spot")])
    assert story.picture.notes == ("lean spot (Small, lambda at 5000 rpm)",)


def test_notes_of_the_logs_are_found(tmp_path):
    (tmp_path / "runs").mkdir()
    bench = Bench(tmp_path)
    review = Notes().add(review_note().note).into(Review(log="small.csv"))
    review.save(bench, "runs/small.csv")
    (found,) = notes_of(bench, finding().comparison)
    assert (found.side, found.note.words, found.note.start) == ("a", "boost falls away", 5000)


# ---- why ------------------------------------------------------------------------------------


@cache
def told_why(system="US"):
    build = read_build(Bench(DEMO_BENCH), "builds/small.toml")
    made = finding(system=system)
    return made, story_of(made, system, split=split(made.comparison, build))


def test_the_causes_add_up_to_the_difference_that_was_measured():
    made, story = told_why()
    known = story.shares.dropna()
    gap = made.comparison.gains["torque_nm"].difference / 1.3558179
    measured = np.interp(known.index, made.comparison.speed_rpm, gap)
    assert len(known) > 20
    assert known.sum(axis=1).to_numpy() == pytest.approx(measured, abs=1e-4)
    assert "Torque not explained [lb-ft]" in known and "Torque by pumping [lb-ft]" in known


def test_the_page_has_the_causes_on_the_same_axis():
    _, story = told_why()
    assert len(story.whole.panels) == len(story.picture.panels) + 1
    assert story.whole.panels[-1].title.startswith("Difference in torque by cause")
    assert story_of(finding(), "US").whole is not None
    assert len(story_of(finding(), "US").whole.panels) == 3


def test_a_cause_is_said_with_its_evidence_and_may_be_cited():
    _, story = told_why("SI")
    causes = [s for s in story.spoken if " torque: " in s.text]
    assert causes and all(s.text.startswith("On average Large makes ") for s in causes)
    assert all(s.text.count("N m") == 2 for s in causes)
    assert not any("not explained by" in s.text for s in story.spoken)
    assert {s.evidence for s in causes} <= {"worked out", "estimated"}
    assert any("Shapley" in text for text in story.method)
    share = next(c for c in story.cited if c.words == "average share of pumping")
    assert contradictions(f"{share.value:.1f} N m from pumping", story.cited, "SI") == []


# ---- the circle -----------------------------------------------------------------------------


def test_readings_say_how_each_number_was_come_by():
    logged = {"p_cell_pa": 98e3, "p_manifold_pa": 196e3, "p_exhaust_pa": 245e3}
    logged |= {"p_turbine_out_pa": 105e3, "torque_nm": 500.0, "speed_rpm": 6000.0}
    found = {(r.station, r.words): r for r in readings(logged)}
    assert found["manifold", "boost"].value == pytest.approx(98e3)
    assert found["exhaust", "back"].evidence == "measured"
    ratio = found["exhaust", "× boost, abs"]
    assert (ratio.value, ratio.evidence) == (1.25, "worked out")
    assert found["turbine", "expansion"].value == pytest.approx(245 / 105)
    power = next(r for r in readings(logged) if r.kind == "power")
    assert power.value == pytest.approx(314159.27)  # 500 N m x 6000 rpm x pi/30


def test_what_the_cooler_takes_out_is_a_difference_of_temperatures():
    (cooler,) = (
        r
        for r in readings({"t_compressor_out_k": 400.0, "t_charge_k": 320.0})
        if r.station == "cooler"
    )
    assert cooler.shown("SI") == "80 °C cooler" and cooler.shown("US") == "144 °F cooler"


def test_a_number_that_is_not_known_is_not_drawn():
    assert list(readings({"p_cell_pa": np.nan})) == []


def test_measured_is_solid_and_worked_out_dashed_on_the_circle():
    found = (
        Reading("cell", "", 98e3, "barometer"),
        Reading("exhaust", "× boost", 1.2, "ratio", "worked out"),
    )
    picture = circle("Where", found, "US")
    (panel,) = picture.panels
    frames = {m.text: s.evidence for m in panel.marks for s in panel.shapes if _holds(s, m)}
    assert frames["28.94 inHg"] == "measured"
    assert frames["1.20 × boost"] == "worked out"
    assert "exhaust 1.20 × boost (worked out)" in picture.description
    assert sum(m.text == "not measured" for m in panel.marks) == 6


def _holds(shape, mark):
    middle = shape.x.mean(), shape.y.mean()
    return len(shape.x) == 4 and np.allclose(middle, (mark.x, mark.y))


@pytest.mark.parametrize("size", [*PLACES.values(), (1600, 900), (720, 1280)])
def test_words_of_the_circle_stay_inside_their_frames(size):
    logged = {"p_cell_pa": 98e3, "t_cell_k": 300.0, "humidity": 0.5, "p_exhaust_pa": 290e3}
    logged |= {"p_manifold_pa": 250e3, "p_compressor_out_pa": 255e3, "t_exhaust_k": 1200.0}
    logged |= {"shaft_speed_rpm": 118000.0, "air_flow_kg_s": 0.4, "p_gate_top_gauge_pa": 90e3}
    for system in ("US", "SI"):
        sheet = Sheet(circle("Where", tuple(readings(logged)), system, size), size)
        sheet.canvas.draw()
        (drawn,) = sheet.panels
        inside = 28 if size[0] != size[1] else 24  # of a frame, in the layout's narrower units
        frame = inside * abs(drawn.px(1, 0)[0] - drawn.px(0, 0)[0])
        wide = [t.get_window_extent().width for _, t in sheet.words if hasattr(t, "get_text")]
        texts = [t.get_text() for _, t in sheet.words if hasattr(t, "get_text")]
        numbers = [w for w, t in zip(wide, texts, strict=True) if not t.startswith("solid")]
        assert max(numbers) < frame


def test_a_story_has_its_circle_at_the_speed_of_the_headline():
    story = story_of(finding(), "US", title="Large at 6000 rpm, back pressure 13.0 psi")
    poster = story.poster((1920, 1080))
    assert "rpm: where the numbers are" in poster.finding
    assert "14.0 psi" in poster.description or "13.9 psi" in poster.description
