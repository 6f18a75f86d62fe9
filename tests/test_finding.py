"""Findings: saved as plain files, loaded to the same numbers, traceable to their logs."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from tests.test_compare import DEMO, LARGE, RETURN, SMALL, demo_side, three
from toolkit.analysis.compare import Settings, compare
from toolkit.analysis.finding import changed_logs, load_finding, save_finding, table
from toolkit.analysis.sensor_ends import LeftOut
from toolkit.analysis.verdict import verdicts
from toolkit.bench import Bench, BenchError, digest, read_toml


@pytest.fixture
def bench(tmp_path):
    (tmp_path / "runs").mkdir()
    for log, _ in (SMALL, LARGE, RETURN):
        name = f"{log}_dyno.csv"
        (tmp_path / "runs" / name).write_bytes((DEMO / "runs" / name).read_bytes())
    return Bench(tmp_path)


def with_log_names(side, bench):
    """The demo's sides under the names and digests of the logs in this bench."""
    repeats = []
    for repeat in side.repeats:
        run = f"runs/{repeat.run}_dyno.csv"
        known = {"run": run, "sha256": digest(bench.file(run))}
        repeats.append(dataclasses.replace(repeat, **known))
    return dataclasses.replace(side, repeats=tuple(repeats))


@pytest.fixture
def comparison(bench):
    sides = demo_side("Small", SMALL, RETURN), demo_side("Large", LARGE)
    settings = Settings(low_rpm=3500, high_rpm=6500, smoothing=5)
    return compare(*(with_log_names(s, bench) for s in sides), settings)


def assert_same(a, b):
    """Two comparisons agree in every number, name and setting, to the last bit."""
    for name in ("settings", "range_rpm", "drift_corrected", "reference", "warnings", "peaks"):
        assert getattr(a, name) == getattr(b, name)
    for table_a, table_b in ((a.gains, b.gains), (a.average, b.average)):
        assert table_a.keys() == table_b.keys()
        for channel in table_a:
            for field in dataclasses.fields(table_a[channel]):
                one, other = (getattr(t[channel], field.name) for t in (table_a, table_b))
                np.testing.assert_array_equal(one, other)
    assert a.crossovers == b.crossovers


def test_a_finding_comes_back_to_the_last_digit(bench, comparison):
    saved = save_finding(bench, comparison, "US", note="after the gate was cleaned")
    again = load_finding(bench, saved.slug)
    assert bench.findings() == [f"explain/{saved.slug}/finding.toml"]
    assert (again.title, again.note, again.system) == (saved.title, saved.note, "US")
    assert again.verdicts == saved.verdicts == verdicts(comparison, "US")
    assert_same(again.comparison, comparison)
    assert verdicts(again.comparison, "SI") == verdicts(comparison, "SI")


def test_the_words_trace_to_logs_pulls_and_method(bench, comparison):
    slug = save_finding(bench, comparison, "US").slug
    words = read_toml(bench.file(f"explain/{slug}/finding.toml")).unwrap()
    assert words["reference"] == "observed"
    assert words["smoothing"].startswith("moving mean over 5 bins (500 rpm)")
    assert words["averaged_over"] == "3500 to 6500 rpm"
    assert words["settings"]["low_rpm"] == "3500 rpm"
    assert words["settings"]["sweep_limit"] == "10 %"
    pulls = words["base"]["pulls"]
    assert [p["pull"] for p in pulls] == [1, 2, 3, 1, 2, 3]
    assert all(p["sha256"] == digest(bench.file(p["log"])) for p in pulls)
    assert words["verdicts"][0]["evidence"] in ("measured", "worked out", "cannot tell")


def test_what_a_sensor_at_its_end_leaves_out_is_kept(bench, comparison):
    gone = (LeftOut("p_manifold_pa", 5800.0, 6400.0),)
    side = dataclasses.replace(
        comparison.b,
        repeats=(dataclasses.replace(comparison.b.repeats[0], left_out=gone),
                 *comparison.b.repeats[1:]),
    )  # fmt: skip
    ended = compare(comparison.a, side, comparison.settings)
    again = load_finding(bench, save_finding(bench, ended, "US").slug)
    assert again.comparison.b.left_out == gone and not again.comparison.a.left_out
    assert verdicts(again.comparison, "US") == again.verdicts


def test_the_table_is_plain_with_units_in_its_names(bench, comparison):
    slug = save_finding(bench, comparison, "US").slug
    plain = pd.read_csv(bench.file(f"explain/{slug}/finding.csv"))
    assert plain.columns[0] == "speed_rpm"
    small, large = plain["Small: torque_nm"], plain["Large: torque_nm"]
    difference = plain["Large less Small: torque_nm"]
    np.testing.assert_allclose(large - small, difference, atol=1e-9)
    assert list(plain) == list(table(comparison))


def test_findings_of_one_title_do_not_overwrite_each_other(bench, comparison):
    slugs = [save_finding(bench, comparison, "US", title="Große Überraschung!").slug for _ in "ab"]
    assert slugs[0] != slugs[1]
    assert slugs[1].endswith("-2")
    assert save_finding(bench, comparison, "SI", title="Same", slug=slugs[0]).slug == slugs[0]
    assert load_finding(bench, slugs[0]).title == "Same"


def test_a_log_that_changed_is_said(bench, comparison):
    finding = save_finding(bench, comparison, "US")
    assert changed_logs(bench, finding) == ()
    with bench.file(f"runs/{LARGE[0]}_dyno.csv").open("a") as file:
        file.write("\n")
    bench.file(f"runs/{RETURN[0]}_dyno.csv").unlink()
    gone, changed = changed_logs(bench, load_finding(bench, finding.slug))
    assert "no longer in the bench" in gone
    assert f"{LARGE[0]}_dyno.csv is not the file" in changed


def test_files_that_do_not_belong_together_are_refused(bench, comparison):
    slug = save_finding(bench, comparison, "US").slug
    pulls = bench.file(f"explain/{slug}/pulls.csv")
    pulls.write_text(pulls.read_text().replace("3500.0", "3500.5"))
    with pytest.raises(BenchError, match=r"pulls.csv was changed after it was saved"):
        load_finding(bench, slug)
    pulls.unlink()
    with pytest.raises(BenchError, match=r"lost its file pulls.csv"):
        load_finding(bench, slug)


def test_mended_words_that_make_no_sense_are_refused(bench, comparison):
    slug = save_finding(bench, comparison, "US").slug
    path = bench.file(f"explain/{slug}/finding.toml")
    path.write_text(path.read_text().replace('low_rpm = "3500 rpm"', 'low_rpm = "3500 psi"'))
    with pytest.raises(BenchError, match="is not an engine speed"):
        load_finding(bench, slug)


@pytest.mark.parametrize("slug", ["../away", "A b", "-x", ".."])
def test_a_slug_is_a_plain_name(bench, comparison, slug):
    with pytest.raises(BenchError, match="is no name for a finding"):
        save_finding(bench, comparison, "US", slug=slug)


def test_sides_without_dates_or_logged_channels_survive(bench):
    plain = compare(three("A", 400.0, lam=0.85), three("B", 410.0))
    saved = save_finding(bench, plain, "SI", title="invented")
    again = load_finding(bench, saved.slug).comparison
    assert_same(again, plain)
    assert set(again.channels_a) == {"torque_nm", "power_w", "lam"}
    assert set(again.channels_b) == {"torque_nm", "power_w"}
