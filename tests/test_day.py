import shutil
from dataclasses import replace

import numpy as np
import pytest

from toolkit import preferences
from toolkit.analysis.day import day_of, shortened
from toolkit.analysis.repeats import OBSERVED
from toolkit.analysis.session import LIKENESS
from toolkit.analysis.sides import opened
from toolkit.bench import Bench
from toolkit.charts.session_picture import session_picture
from toolkit.logs.question import LogError
from toolkit.physics.correction import STANDARDS


@pytest.fixture(scope="module")
def april():
    return day_of(Bench(preferences.DEMO_BENCH), "runs/2026-04-18_3_small_20psi_dyno.csv")


def test_the_day_holds_its_pulls_in_order_and_no_other_days(april):
    day, _ = april
    hours = [p.hour for p in day.pulls]
    assert hours == sorted(hours) and len(hours) == 21  # seven runs of three pulls
    assert all("2026-04-18" in p.run for p in day.pulls)


def test_a_return_to_the_first_setup_shows_the_drift(april):
    day, _ = april
    returned = "turbo Small, target 14 psi"
    assert sum(p.setup == returned for p in day.pulls) == 6
    drift, half = day.drift(returned)
    assert drift + half < 0  # the cell has warmed up
    finding = session_picture(day, "SI").finding
    assert finding.startswith(f"{returned} drifts by {drift / 1e3:+.1f} ± ")


def test_the_partner_lends_its_channels(april):
    day, _ = april
    assert all(np.isfinite(p.levels["t_charge_k"]) for p in day.pulls)


def test_pulls_hours_apart_on_a_warming_cell_are_told_apart(april):
    day, _ = april
    reasons = {channel for channel, _, _ in day.apart(0, len(day.pulls) - 1)}
    assert "t_cell_k" in reasons
    assert day.apart(0, 1) == ()


def test_files_that_cannot_be_read_are_named(april):
    _, left_out = april
    assert any("extra_cells.csv" in sentence for sentence in left_out)


def test_a_log_without_a_date_is_refused(tmp_path):
    (tmp_path / "runs").mkdir()
    shutil.copy(preferences.DEMO_BENCH / "runs/bad/merged_pulls.csv", tmp_path / "runs/a.csv")
    with pytest.raises(LogError, match="does not say when it was made"):
        day_of(Bench(tmp_path), "runs/a.csv")


def test_words_that_all_setups_share_are_left_out():
    assert shortened(["turbo Small, 8 psi"]) == ["turbo Small, 8 psi"]
    assert shortened(["a", "a"]) == ["a", "a"]
    assert shortened(["turbo A, 8 psi", "turbo B, 8 psi"]) == ["A, 8 psi", "B, 8 psi"]


def test_power_is_corrected_where_every_weather_allows_it(april):
    day, _ = april
    name = next(iter(STANDARDS))
    assert day.reference == name
    observed, _ = day_of(Bench(preferences.DEMO_BENCH), day.pulls[0].run, OBSERVED)
    assert observed.reference == OBSERVED
    factors = [a.power_w / b.power_w for a, b in zip(day.pulls, observed.pulls, strict=True)]
    log = opened(Bench(preferences.DEMO_BENCH), day.pulls[0].run)
    w = log.weather
    assert factors[0] == pytest.approx(STANDARDS[name].factor(w.p_cell_pa, w.t_cell_k, w.humidity))
    assert np.ptp(factors) > 0  # the weather of the day changed
    assert session_picture(day, "SI").method.startswith(f"{name}: mean power")


def test_without_weather_power_is_as_observed_and_why_is_said(tmp_path, april):
    (tmp_path / "runs").mkdir()
    rows = ["Started: 2026-05-02 10:00", "time [s],engine speed [rpm],torque [N m]"]
    for k in range(300):
        rows.append(f"{k / 20:.2f},{2000 + 300 * k / 20:.0f},{200 + k / 10:.1f}")
    (tmp_path / "runs/bare.csv").write_text("\n".join([*rows, ""]), encoding="utf-8")
    day, said = day_of(Bench(tmp_path), "runs/bare.csv")
    assert day.reference == OBSERVED
    assert any(text.startswith("Power is as observed: ") for text in said)


def test_charge_heat_of_another_boost_is_no_reason_and_of_the_same_is(april):
    day, _ = april
    warm = replace(day.pulls[1], levels=day.pulls[1].levels | {"t_charge_k": 340.0})
    other = replace(warm, setup="turbo Small, target 20 psi")
    for pull, words in ((warm, ["charge"]), (other, [])):
        asked = replace(day, pulls=(day.pulls[0], pull))
        assert [w for _, w, _ in asked.apart(0, 1)] == words
    wide = {c: (1e3, words) for c, (_, words) in LIKENESS.items()}
    assert replace(day, pulls=(day.pulls[0], warm)).apart(0, 1, wide) == ()


def test_pulls_in_one_go_have_no_drift(april):
    day, _ = april
    first = day.pulls[0].setup
    assert np.isnan(day.drift(first)).all()  # three pulls within minutes
    assert np.isfinite(day.drift(first, 0.0)).all()
