"""Signs of trouble in a log: each detector sees what is there, leaves alone what is not, keeps
quiet at a near miss, and says "cannot tell" where the log cannot answer. Traces are invented."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from toolkit.logs.pulls import Pull
from toolkit.logs.read import read
from toolkit.logs.run import Run
from toolkit.logs.signs import LIMITS, Limits, Trace, engine, forbidden, sampling, sensors, signs
from toolkit.logs.signs import boost as boosts

PSI = 6894.757
CELL = 100e3


def log(rate=50.0, seconds=8.0, pulls=1, noise=1.0, **changes):
    """A quiet, healthy log: two seconds of standing engine, then pulls of 3000 to 6500 rpm."""
    frames, found, start = [standing(rate)], [], round(2 * rate)
    for _ in range(pulls):
        n = round(seconds * rate)
        frames.append(one_pull(n, noise))
        found.append(Pull("pull", start, start + n, 3000, 6500, 3500 / seconds, "", accepted=True))
        start += n
    frame = pd.concat(frames, ignore_index=True)
    frame["time_s"] = np.arange(len(frame)) / rate
    for channel, values in changes.items():
        if values is None:
            frame = frame.drop(columns=channel)
        else:
            frame[channel] = values(frame) if callable(values) else values
    return Trace(frame, tuple(found))


def standing(rate):
    return one_pull(round(2 * rate), 1.0).assign(
        speed_rpm=0.0, p_manifold_pa=CELL, p_exhaust_pa=CELL, torque_nm=0.0
    )


def one_pull(n, noise):
    u = np.linspace(0, 1, n)
    wobble = noise * np.sin(np.arange(n) * 12.9898) * np.cos(np.arange(n) * 78.233)
    boost = 14 * PSI * np.minimum(1, u / 0.3 + 0.3)
    return pd.DataFrame({
        "speed_rpm": 3000 + 3500 * u, "torque_nm": 500 - 60 * (u - 0.4) ** 2 + wobble,
        "p_manifold_pa": CELL + boost + 60 * wobble, "p_exhaust_pa": CELL + 0.8 * boost + 90 * u,
        "p_cell_pa": CELL, "lam": 0.82 + 0.003 * wobble, "spark_deg": 18 - 4 * u,
        "injector_time_s": 0.010 + 0.002 * u, "p_rail_gauge_pa": 300e3 + boost,
        "p_oil_gauge_pa": (2 + 11 * (3 + 3.5 * u)) * PSI, "t_charge_k": 310 + 6 * u,
        "t_compressor_out_k": 390 + 20 * u, "t_cooler_water_k": 300.0,
        "gate_duty": 0.4 + 0.1 * u, "gate_lift_m": np.where(u > 0.35, 0.004 * u, 0.0),
    })  # fmt: skip


def in_pull(trace, channel, rows, value):
    """The trace with rows of its first pull (counted in it) changed."""
    frame = trace.frame.copy()
    at = frame.index[trace.pulls[0].start + np.arange(rows.start, rows.stop)]
    frame.loc[at, channel] = value if not callable(value) else value(frame.loc[at, channel])
    return replace(trace, frame=frame)


def told(detector, trace, limits=None):
    return [s for s in detector(trace, limits or Limits()) if s.told]


def untold(detector, trace, limits=None):
    return [s for s in detector(trace, limits or Limits()) if not s.told]


def test_a_healthy_log_has_no_sign():
    trace = log(pulls=2)
    assert [s.name for s in signs(trace.frame, trace.pulls) if s.told] == []


# ---- positives, near misses, and what cannot be told ------------------------------------------


def clipping(trace, top):
    return trace.frame["p_manifold_pa"].clip(upper=top)


def test_clipped():
    rising = log(p_manifold_pa=lambda f: CELL + 30 * (f.speed_rpm - 2900).clip(lower=0))
    cut = replace(rising, frame=rising.frame.assign(p_manifold_pa=clipping(rising, 180e3)))
    (sign,) = told(sensors.clipped, cut)
    assert sign.rows[0] == np.flatnonzero(cut["p_manifold_pa"] == 180e3)[0]
    assert forbidden([sign], "boost") == (sign,)
    assert not told(sensors.clipped, rising)
    # Near miss: a held boost touches its highest digit now and then.
    digits = log(p_manifold_pa=lambda f: f.p_manifold_pa.round(-2))
    assert not told(sensors.clipped, digits)
    # A slow sensor eases into its highest digit: a temperature in whole degrees.
    slow = log(t_compressor_out_k=lambda f: (400 - 60 * np.exp(-f.index / 60)).round())
    assert not told(sensors.clipped, slow)
    without_torque = replace(cut, frame=cut.frame.drop(columns="torque_nm"))
    assert not told(sensors.clipped, without_torque)
    assert "log torque" in untold(sensors.clipped, without_torque)[0].todo
    # Torque that another logger saw at the same speeds tells it all the same; so does power.
    lent = replace(without_torque, lent_torque_nm=cut["torque_nm"])
    assert told(sensors.clipped, lent)[0].rows.tolist() == sign.rows.tolist()
    steady = replace(without_torque, lent_torque_nm=np.full(len(cut.frame), 480.0))
    assert not sensors.clipped(steady, Limits())
    outside = replace(without_torque, lent_torque_nm=np.full(len(cut.frame), np.nan))
    assert untold(sensors.clipped, outside)
    power = cut.frame.assign(power_w=cut["torque_nm"] * cut["speed_rpm"] * np.pi / 30)
    assert told(sensors.clipped, replace(cut, frame=power.drop(columns="torque_nm")))
    # A gauge pressure whose barometer nobody knows is looked at like any other.
    gauge = cut.frame.assign(p_manifold_gauge_pa=cut["p_manifold_pa"] - CELL)
    (found,) = told(sensors.clipped, replace(cut, frame=gauge.drop(columns="p_manifold_pa")))
    assert (found.channel, found.forbids) == ("p_manifold_gauge_pa", ("boost", "power"))
    assert "(gauge)" in found.sentence and "at least 80.0 kPa" in found.sentence
    # Without an accepted pull the log is looked at as a whole.
    assert told(sensors.clipped, replace(cut, pulls=()))[0].rows.tolist() == sign.rows.tolist()
    assert not told(sensors.clipped, replace(rising, pulls=()))


def test_case_clipped_sensor(shared_cases):
    """A log of a speed table, without time and so without a pull."""
    run = Run.of(read(shared_cases / "c04_clipped_sensor.csv"))
    (sign,) = (s for s in signs(run.frame, ()) if s.name == sensors.CLIPPED)
    assert (sign.channel, len(sign.rows), sign.told) == ("p_manifold_pa", 8, True)
    assert run.frame["speed_rpm"].iloc[sign.rows[0]] == 5800
    assert "at least 304" in sign.sentence


def test_dead():
    assert told(sensors.dead, log(p_exhaust_pa=CELL))[0].channel == "p_exhaust_pa"
    assert not told(sensors.dead, log(p_exhaust_pa=lambda f: np.where(f.index == 300, 2e5, 1e5)))
    assert not told(sensors.dead, replace(log(), pulls=()))


def test_frozen():
    stuck = in_pull(log(), "p_exhaust_pa", range(200, 280), 1.5e5)
    (sign,) = told(sensors.frozen, stuck)
    assert len(sign.rows) == 80
    assert not told(sensors.frozen, in_pull(log(), "p_exhaust_pa", range(200, 240), 1.5e5))
    assert untold(sensors.frozen, log(time_s=None))


@pytest.mark.parametrize(("shift", "name"), [(3e3, "sensor offset"), (-CELL, "gauge or absolute")])
def test_offset(shift, name):
    assert (
        told(sensors.offset, log(p_manifold_pa=lambda f: f.p_manifold_pa + shift))[0].name == name
    )
    assert not told(sensors.offset, log(p_manifold_pa=lambda f: f.p_manifold_pa + 1.9e3))
    never_off = log(speed_rpm=lambda f: f.speed_rpm.clip(lower=900))
    assert "engine off" in untold(sensors.offset, never_off)[0].sentence
    assert "barometer" in untold(sensors.offset, log(p_cell_pa=None))[0].sentence


def test_slow():
    assert told(sampling.slow, log(rate=5))[0].forbids == ("transients",)
    assert not told(sampling.slow, log(rate=10))
    assert untold(sampling.slow, log(time_s=None))


def test_gaps():
    paused = log(time_s=lambda f: f.index / 50 + np.where(f.index > 250, 0.5, 0))
    assert told(sampling.gaps, paused)[0].rows.tolist() == [251]
    assert not told(sampling.gaps, log(time_s=lambda f: f.index / 50 + 0.06 * (f.index > 250)))
    assert not told(sampling.gaps, log(time_s=lambda f: f.index / 50 + 0.5 * (f.index > 50)))


def test_jitter():
    uneven = log(time_s=lambda f: f.index / 50 + 0.009 * (f.index % 2) * (f.index % 3))
    assert told(sampling.jitter, uneven)
    backward = log(time_s=lambda f: f.index / 50 - 0.5 * (f.index > 250))
    assert told(sampling.jitter, backward)[0].rows.tolist() == [251]
    assert not told(sampling.jitter, log(time_s=lambda f: f.index / 50 + 0.002 * (f.index % 2)))


def test_folded():
    def back_by(rpm):
        return in_pull(log(), "speed_rpm", range(200, 210), lambda v: v - rpm)

    assert told(sampling.folded, back_by(150))[0].rows.tolist() == list(range(300, 310))
    assert not told(sampling.folded, back_by(45))
    noisy = log(speed_rpm=lambda f: f.speed_rpm + 15 * np.sin(f.index * 12.9898))
    assert not told(sampling.folded, noisy)


def test_lean_and_rich():
    lean = in_pull(log(), "lam", range(300, 310), 0.95)
    assert told(engine.mixture, lean)[0].severity == "stops"
    assert told(engine.mixture, in_pull(log(), "lam", range(300, 310), 0.65))[0].name.startswith(
        "rich"
    )
    assert not told(engine.mixture, in_pull(log(), "lam", range(300, 310), 0.919))
    assert not told(engine.mixture, in_pull(log(), "p_manifold_pa", range(0, 400), CELL))
    assert untold(engine.mixture, log(lam=None)) and untold(engine.mixture, log(p_cell_pa=None))


def test_ragged_torque_with_a_lean_step_is_not_called_lean_fuel():
    def hit(lam, torque):
        trace = in_pull(log(), "lam", range(300, 304), lambda v: v + lam)
        return in_pull(trace, "torque_nm", range(300, 304), lambda v: v * (1 - torque))

    assert "more fuel is no answer" in told(engine.ragged, hit(0.09, 0.09))[0].sentence
    assert not told(engine.ragged, hit(0.04, 0.09))
    assert not told(engine.ragged, hit(0.09, 0.02))
    assert untold(engine.ragged, log(lam=None))


def test_spark_between_pulls():
    two = log(pulls=2)
    frame = two.frame.copy()
    frame.loc[frame.index >= two.pulls[1].start, "spark_deg"] -= 2.0
    assert told(engine.spark_between_pulls, replace(two, frame=frame))
    frame.loc[frame.index >= two.pulls[1].start, "spark_deg"] += 1.1
    assert not told(engine.spark_between_pulls, replace(two, frame=frame))
    assert "one pull" in untold(engine.spark_between_pulls, log())[0].sentence


def test_injectors():
    # Arithmetic: 18 ms at 6500 rpm is 97.5 % (an injection every second turn).
    trace = log(injector_time_s=0.018, speed_rpm=lambda f: f.speed_rpm.clip(upper=6500))
    assert engine.injector_duty(trace).max() == pytest.approx(0.975, abs=1e-3)
    assert told(engine.injectors, trace)
    assert not told(engine.injectors, log(injector_time_s=0.0156))
    assert untold(engine.injectors, log(injector_time_s=None))


def test_rail():
    # Arithmetic: 58 psi rail against 15 psi of boost flows sqrt(43/58) = 86.1 %.
    fixed = log(p_rail_gauge_pa=58 * PSI,
                p_manifold_pa=lambda f: CELL + 15 * PSI * (f.index > 150))  # fmt: skip
    assert "86.1%" in told(engine.rail, fixed)[0].sentence
    assert not told(engine.rail, log())
    assert not told(
        engine.rail, log(p_rail_gauge_pa=lambda f: 300e3 + 0.9 * (f.p_manifold_pa - CELL))
    )
    assert untold(engine.rail, log(p_rail_gauge_pa=None))


def test_oil():
    assert told(engine.oil, log(p_oil_gauge_pa=lambda f: 9 * PSI * f.speed_rpm / 1000))
    assert not told(engine.oil, log(p_oil_gauge_pa=lambda f: 10.01 * PSI * f.speed_rpm / 1000))
    brief = in_pull(log(), "p_oil_gauge_pa", range(300, 310), 1e5)
    assert not told(engine.oil, brief)
    assert untold(engine.oil, log(p_oil_gauge_pa=None))


def test_charge_temperature():
    hot = log(t_charge_k=lambda f: 310 + 20 * (f.speed_rpm - 3000).clip(lower=0) / 3500)
    assert told(engine.charge, hot)[0].name == "charge warms"
    still = told(engine.charge, log(t_charge_k=lambda f: 310 + 0.1 * (f.index % 2)))
    assert still[0].name == "charge sensor still"
    assert not told(engine.charge, log())
    assert untold(engine.charge, log(t_charge_k=None))


def test_cooler_cannot_beat_what_cools_it():
    assert told(engine.cooler, log(t_cooler_water_k=320.0))
    assert not told(engine.cooler, log(t_cooler_water_k=309.9))
    assert untold(engine.cooler, log(t_cooler_water_k=None))


def falling(share):
    def fall(f):
        top = ((f.speed_rpm - 5000) / 1500).clip(lower=0)
        return f.p_manifold_pa - share * 14 * PSI * top

    return log(p_manifold_pa=fall)


def test_boost_falls():
    (sign,) = told(boosts.falls, falling(0.15))
    assert "boost falls" in sign.sentence
    assert not told(boosts.falls, falling(0.03))
    assert untold(boosts.falls, log(p_cell_pa=None))


def spiking(share, rate=50.0):
    def spike(f):
        crest = np.exp(-(((f.speed_rpm - 4250) / 60) ** 2))
        return f.p_manifold_pa + share * 14 * PSI * crest

    return log(rate=rate, p_manifold_pa=spike)


def test_spike_is_told_from_a_held_boost():
    (sign,) = told(boosts.spikes, spiking(0.2))
    assert "never quote the crest" in sign.todo and "at least" not in sign.sentence
    assert "at least" in told(boosts.spikes, spiking(0.2, rate=20))[0].sentence
    assert not told(boosts.spikes, spiking(0.03))
    assert not told(boosts.spikes, falling(0.15))
    assert untold(boosts.spikes, spiking(0.2, rate=5))
    assert not told(boosts.creeps, spiking(0.2))


def creeping(psi_per_1000, duty=0.0):
    def creep(f):
        return f.p_manifold_pa + psi_per_1000 * PSI * (f.speed_rpm - 4750).clip(lower=0) / 1000

    return log(p_manifold_pa=creep, gate_duty=duty)


def test_creep_needs_the_controller_off():
    # Common practice: a pull that held 7 psi to 5000 rpm and had 13 by 6100 crept 5.5 psi/1000 rpm.
    (sign,) = told(boosts.creeps, creeping(5.5))
    assert "softer spring will not cure it" in sign.sentence
    shown = replace(creeping(5.5), system="US")
    assert "5.5 psi per 1000 rpm" in told(boosts.creeps, shown)[0].sentence
    assert not told(boosts.creeps, creeping(0.9))
    assert not told(boosts.creeps, creeping(5.5, duty=0.5))
    no_duty = replace(creeping(5.5), frame=creeping(5.5).frame.drop(columns="gate_duty"))
    assert untold(boosts.creeps, no_duty)


def swinging(pa, hertz=8.0, rate=50.0):
    def swing(f):
        on = (f.speed_rpm > 4500) & (f.speed_rpm < 6000)
        return f.p_manifold_pa + pa * np.sin(2 * np.pi * hertz * f.time_s) * on

    return log(rate=rate, p_manifold_pa=swing)


def test_flutter_is_seen_only_where_the_rate_can_show_it():
    (sign,) = told(boosts.flutters, swinging(6e3))
    assert "8.0 Hz" in sign.sentence
    assert not told(boosts.flutters, swinging(1e3))
    # Sampled at 10 Hz, 8 Hz would look like 2 Hz: refused.
    assert "slower swing" in untold(boosts.flutters, swinging(6e3, rate=10))[0].sentence


def test_gate_opens_early():
    early = log(gate_lift_m=lambda f: 0.004 * (f.p_manifold_pa > CELL + 6 * PSI))
    assert told(boosts.opens_early, early)
    assert not told(boosts.opens_early, log())
    near = log(gate_lift_m=lambda f: 0.004 * (f.p_manifold_pa > CELL + 9 * PSI))
    assert not told(boosts.opens_early, near)
    assert untold(boosts.opens_early, log(gate_lift_m=None))


def test_back_pressure_over_boost():
    high = log(p_exhaust_pa=lambda f: f.p_manifold_pa * (1 + 0.1 * (f.speed_rpm > 5000)))
    (sign,) = told(boosts.back_pressure, high)
    assert high["speed_rpm"][sign.rows].min() > 5000
    assert not told(boosts.back_pressure, log(p_exhaust_pa=lambda f: f.p_manifold_pa))
    assert untold(boosts.back_pressure, log(p_exhaust_pa=None))


def test_duty_for_the_same_boost():
    first, second = log(gate_duty=0.40), log(gate_duty=0.55)
    assert "leak" in boosts.duty_shift(first, second, Limits()).sentence
    assert boosts.duty_shift(first, log(gate_duty=0.49), Limits()) is None
    assert not boosts.duty_shift(first, log(gate_duty=None), Limits()).told
    other = log(gate_duty=0.6, p_manifold_pa=lambda f: CELL + 1.3 * (f.p_manifold_pa - CELL))
    assert "different boost" in boosts.duty_shift(first, other, Limits()).sentence


# ---- the whole ---------------------------------------------------------------------------------


def test_every_limit_has_words_a_kind_and_a_source():
    assert all(words and kind and source for _, words, kind, source in LIMITS)


@pytest.mark.parametrize("value", [-1, np.nan, np.inf])
def test_a_limit_that_is_none_is_refused(value):
    with pytest.raises(ValueError, match="type a number that is not negative"):
        Limits(lean=value)


def test_a_limit_moved_moves_the_verdict():
    trace = in_pull(log(), "lam", range(300, 310), 0.95)
    assert not told(engine.mixture, trace, Limits(lean=0.96))


def test_a_log_of_one_channel_gets_answers_not_errors():
    frame = pd.DataFrame({"speed_rpm": np.linspace(1000, 6000, 50)})
    pull = Pull("pull", 0, 50, 1000, 6000, np.nan, "", accepted=True)
    found = signs(frame, [pull])
    assert found and not any(s.told for s in found)


def test_gravest_first_and_the_untold_last():
    trace = in_pull(log(rate=5), "lam", range(20, 30), 0.95)
    order = [(s.told, s.severity) for s in signs(trace.frame, trace.pulls)]
    assert order[0] == (True, "stops")
    assert not order[-1][0]


def test_the_barometer_that_was_decided_counts_before_the_channel():
    trace = log()
    low = replace(trace, decided_pa=CELL - 5e3)
    assert low.boost_pa[-1] - trace.boost_pa[-1] == pytest.approx(5e3)
    [*_, sign] = told(sensors.offset, low)
    assert sign.name == "sensor offset"
    silent = log(p_cell_pa=None)
    assert silent.boost_pa is None
    assert replace(silent, decided_pa=CELL).boost_pa[-1] == pytest.approx(trace.boost_pa[-1])
    assert not untold(boosts.falls, replace(silent, decided_pa=CELL))


def test_a_sensor_is_not_held_against_itself():
    own = replace(log(p_cell_pa=None, p_exhaust_pa=None), decided_pa=CELL)
    assert "what the barometer is known by" in untold(sensors.offset, own)[0].sentence


def test_signs_name_pulls_by_their_number_in_the_list():
    trace = in_pull(log(), "speed_rpm", range(100, 110), 3000.0)
    assert told(sampling.folded, trace)[0].sentence.startswith("In pull 1 ")
    named = signs(trace.frame, trace.pulls, numbers=(2,))
    assert any(s.sentence.startswith("In pull 2 speed falls") for s in named)


@pytest.mark.parametrize("rate", [100.0, 50.0, 15.0])
def test_a_clock_printed_to_a_tenth_still_has_its_rate(rate):
    printed = log(rate=rate, time_s=lambda f: np.round(np.arange(len(f)) / rate - 0.0499, 1))
    assert printed.rate_hz == pytest.approx(rate, rel=0.02)
    assert not [s for s in signs(printed.frame, printed.pulls) if "no clock" in s.sentence]
    assert not told(sampling.gaps, printed)


def test_one_shared_time_does_not_move_the_rate():
    trace = log(time_s=lambda f: np.where(f.index == 7, 6, f.index) / 50)
    assert trace.rate_hz == pytest.approx(50)
