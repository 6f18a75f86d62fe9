"""Is a sensor lying? Clipped, dead, frozen, offset, or gauge taken for absolute."""

import numpy as np

from toolkit.logs.channels import channel_of, gauge_name, pressure_of
from toolkit.logs.signs.sign import Sign, cannot_tell, rows_of, runs_of

CLIPPED = "clipped sensor"
# Channels that move in a pull if their sensor lives; slow or set ones may well stand still.
_LIVE = ("p_manifold_pa", "p_exhaust_pa", "p_compressor_out_pa", "p_turbine_out_pa",
         "t_compressor_out_k", "t_exhaust_k", "lam", "air_flow_kg_s", "fuel_flow_kg_s",
         "torque_nm", "speed_rpm", "shaft_speed_rpm", "p_oil_gauge_pa")  # fmt: skip
_MOVED = 0.01  # torque that moves by this share of its mean says that the engine did
_SLOW = ("t_compressor_out_k", "t_exhaust_k")
_PRESSURES = ("p_manifold_pa", "p_compressor_out_pa", "p_exhaust_pa", "p_turbine_out_pa",
              "p_compressor_in_pa")  # fmt: skip
_FORBIDS = {"p_manifold_pa": ("boost", "power"), "p_exhaust_pa": ("back pressure",),
            "lam": ("mixture",), "torque_nm": ("power",), "speed_rpm": ("power",),
            "t_charge_k": ("cooler",), "t_compressor_out_k": ("cooler",)}  # fmt: skip


def clipped(trace, limits):
    """Flat to the printed digit at the channel's own top while torque moves on.

    Torque is the log's own or lent (`Trace.torque_nm`). A log without an accepted pull is looked
    at as a whole.
    """
    return [
        sign
        for channel in _live(trace)
        if channel not in ("torque_nm", "speed_rpm")
        for rows in _flat_tops(trace, channel, limits)
        if (sign := _judged(trace, channel, rows)) is not None
    ]


def _judged(trace, channel, rows):
    """The sign of a flat top, told where torque moves in its rows; None where it does not."""
    words, top = _words(channel), trace.text(trace[channel][rows.start], channel)
    torque = None if trace.torque_nm is None else trace.torque_nm[rows]
    if torque is None or not np.isfinite(torque).any():
        return cannot_tell(
            CLIPPED,
            f"{words} stands at its highest reading, {top}, for {rows.stop - rows.start} rows: "
            "a sensor at its end or a very steady engine",
            "log torque with it, or compare with the sensor's printed range",
        )
    moved = (np.nanmax(torque) - np.nanmin(torque)) / np.nanmean(np.abs(torque))
    if not moved > _MOVED:
        return None
    return Sign(
        CLIPPED, "stops",
        f"{words.capitalize()} is flat to the printed digit at its highest reading while torque "
        f"moves by {moved:.1%}: the sensor is at its end, the true value is at least {top}.",
        f"{rows.stop - rows.start} rows at {top}",
        "use a sensor with a wider range; give no verdict there",
        np.arange(rows.start, rows.stop), _forbids(channel), channel)  # fmt: skip


def _flat_tops(trace, channel, limits):
    """Rows in a pull that sit exactly at the channel's top and hold nearly all such rows."""
    values = trace[channel]
    top = np.nanmax(values)
    for span in trace.spans:
        inside = values[span]
        at_top = inside == top
        # A thermocouple in whole degrees stands still for a while at the top of any pull.
        least = 0.2 * len(inside) if channel in _SLOW else limits.flat_rows
        runs = [r for r in runs_of(at_top) if r[1] - r[0] >= least]
        # A noisy, unclipped trace touches its highest digit here and there, never in one piece;
        # a slow one eases into it, where a clipped one runs into it.
        if runs and sum(b - a for a, b in runs) >= 0.9 * at_top.sum():
            kept = (r for r in runs if _runs_into(inside, *r))
            yield from (slice(span.start + a, span.start + b) for a, b in kept)


def _runs_into(values, start, stop):
    """Whether the last rows below a flat rise to it by more than a few printed digits.

    Rows at the top before it are passed over: noise touches a sensor's end before it stays there.
    """
    top, before = values[start], values[:start]
    below = before[before < top][-min(stop - start, 10) :]
    if not below.size:
        return False
    steps = np.abs(np.diff([*below, top]))
    digit = np.min(steps[steps > 0], initial=np.inf)
    return top - below.min() >= 3 * digit


def dead(trace, limits):
    """One value in the whole log, though the engine ran through a pull."""
    if not trace.pulls:
        return []
    return [
        Sign("dead sensor", "stops",
             f"{_words(c).capitalize()} has one and the same reading in the whole log.",
             f"{trace.text(np.nanmax(trace[c]), c)} in every row",
             "check the sensor, its plug and the logger's set-up", rows_of(trace.loaded),
             _forbids(c), c)
        for c in _live(trace)
        if np.nanmax(trace[c]) == np.nanmin(trace[c]) and len(trace.frame) > 3
    ]  # fmt: skip


def frozen(trace, limits):
    """Stands still inside a pull for longer than a living sensor does, below its top."""
    if not np.isfinite(trace.rate_hz):
        return [cannot_tell("frozen sensor", "the log has no clock", "log time")]
    least = max(limits.frozen_s * trace.rate_hz, 3)
    found = []
    for channel in (c for c in _live(trace) if c not in _SLOW):
        values = trace[channel]
        top, low = np.nanmax(values), np.nanmin(values)
        still = np.concatenate([[False], np.diff(values) == 0]) & trace.loaded
        for start, stop in runs_of(still):
            if stop - start >= least and low < values[start] < top:
                found.append(Sign(
                    "frozen sensor", "stops",
                    f"{_words(channel).capitalize()} repeats one reading for "
                    f"{(stop - start) / trace.rate_hz:.1f} s in a pull.",
                    f"{stop - start} rows at {trace.text(values[start], channel)}",
                    "look at the logger and the wiring; leave these rows out",
                    np.arange(start - 1, stop), _forbids(channel), channel))  # fmt: skip
    return found


def offset(trace, limits):
    """With the engine off a pressure sensor must read the barometer; off by one atmosphere means
    gauge was taken for absolute or the other way round."""
    name = "sensor offset"
    off = trace["speed_rpm"] < limits.off_rpm if trace.has("speed_rpm") else np.zeros(0, bool)
    if off.sum() < 3:
        return [cannot_tell(name, "no rows with the engine off",
                            "start the log before the engine")]  # fmt: skip
    cell = trace.barometer_pa
    if not np.isfinite(cell):
        return [cannot_tell(name, "the barometer is unknown", "log it or write it down")]
    return [s for c in _PRESSURES if trace.has(c) for s in _offset(trace, c, off, cell, limits)]


def _offset(trace, channel, off, cell, limits):
    standing = trace[channel][off]
    if not np.isfinite(standing).any():
        return
    error = float(np.nanmedian(standing)) - cell
    if error == 0 and not trace.has("p_cell_pa"):
        why = f"{_words(channel)} with the engine off is what the barometer is known by"
        yield cannot_tell("sensor offset", why, "log the barometer or write it down")
    if abs(error) <= limits.offset_pa:
        return
    if abs(abs(error) - cell) < 0.12 * cell:
        word = "gauge was read as absolute" if error < 0 else "absolute was read as gauge"
        yield Sign("gauge or absolute", "stops",
                   f"{_words(channel).capitalize()} is one atmosphere off with the engine off: "
                   f"{word}.", f"{trace.text(abs(error), 'boost')} {_side(error)} the barometer",
                   "change gauge or absolute for this column", rows_of(off),
                   _forbids(channel), channel)  # fmt: skip
    else:
        yield Sign("sensor offset", "stops",
                   f"{_words(channel).capitalize()} reads {trace.text(abs(error), 'boost')} "
                   f"{_side(error)} the barometer with the engine off.",
                   f"median of {int(off.sum())} rows, barometer {trace.text(cell, 'barometer')}",
                   "set an offset for this column in review, or check the sensor",
                   rows_of(off), _forbids(channel), channel)  # fmt: skip


def _live(trace):
    """The channels there that a living sensor moves, a gauge pressure without barometer too."""
    return [c for c in (*_LIVE, *map(gauge_name, _PRESSURES)) if trace.has(c)]


def _side(error):
    return "above" if error > 0 else "below"


def _words(channel):
    return channel_of(channel).words


def _forbids(channel):
    return _FORBIDS.get(pressure_of(channel), ())


SENSOR_DETECTORS = (clipped, dead, frozen, offset)
