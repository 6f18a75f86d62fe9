"""The gate's view of a bench's logs: loggers of the same pulls, brought together by speed."""

from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit.analysis.gate_log import GateLog
from toolkit.analysis.sensor_ends import widest, without_ends
from toolkit.analysis.sides import opened
from toolkit.bench import short_name
from toolkit.logs.grid import gridded
from toolkit.logs.pulls import pulls_of
from toolkit.physics.compressor import Region, corrected_flow_kg_s

STEP_RPM = 100.0
OF_THE_GATE = ("p_manifold_pa", "p_compressor_out_pa", "p_exhaust_pa", "p_turbine_out_pa")
CHANNELS = (
    "p_cell_pa",
    "t_cell_k",
    "p_compressor_in_pa",
    "t_compressor_in_k",
    "p_manifold_pa",
    "p_compressor_out_pa",
    "p_exhaust_pa",
    "p_turbine_out_pa",
    "p_gate_top_gauge_pa",
    "gate_duty",
    "gate_lift_m",
    "air_flow_kg_s",
)


def gate_log(bench, names, outlet_gauge_pa=None, turbo=None):
    """What the gate saw in the logs of these names, the mean of each log's pulls. [GateLog]

    The first log is the one that is believed; a later one (a controller's beside a dyno's)
    gives only the channels that those before it lack. Each is averaged in bins of 100 rpm on its
    own, so their clocks need not agree. outlet_gauge_pa: as in `GateLog.from_channels`. turbo: a
    build's `Turbo`; with its compressor map and a logged air flow the margin to choke is known.
    Raises LogError or ValueError, one sentence, where a log or a channel is missing.
    """
    frame, notes, gone, first = pd.DataFrame(), [], [], None
    for name in names:
        one = opened(bench, name, with_partner=False)
        first = first or one
        mean, said, left_out = mean_pull(one.beside(first) if one is not first else one)
        new = mean.columns.difference(frame.columns)
        frame = mean if frame.empty else frame.join(mean[new])
        gone += [g for g in left_out if g.channel in new]
        notes += [f"{short_name(name)}: {said}"]
        notes += [f"{short_name(name)}: {g.sentence}" for g in left_out if g.channel in new]
    log = GateLog.from_channels(frame, outlet_gauge_pa=outlet_gauge_pa)
    if (
        turbo is not None
        and turbo.compressor is not None
        and {"air_flow_kg_s", "t_cell_k"} <= {*frame}
    ):
        log = replace(log, choke_margin=choke_margin(frame, log, turbo))
    notes = (*notes, f"Bins of {STEP_RPM:.0f} rpm, no smoothing.", *log.notes)
    return replace(log, notes=notes, left_out=tuple(g for g in gone if g.channel in OF_THE_GATE))


def choke_margin(frame, log, turbo):
    """Share by which flow could grow before the compressor's speed line ends, along the log. [-]

    0 right of the choke line, NaN elsewhere off the map. Cell air stands in for a compressor
    inlet that was not logged, and the gate's line for its outlet.
    """
    state = ("t_compressor_in_k", "t_cell_k"), ("p_compressor_in_pa", "p_cell_pa")
    t_in, p_in = (frame[a if a in frame else b].to_numpy() for a, b in state)
    compressor, flow = turbo.compressor, frame["air_flow_kg_s"].to_numpy() / turbo.count
    corrected = corrected_flow_kg_s(flow, t_in, p_in, compressor.t_ref_k, compressor.p_ref_pa)
    p_out = log.boost_gauge_pa + frame["p_cell_pa"].to_numpy()
    reading = compressor.read(corrected, p_out / p_in)
    margin = compressor.choke_margin(corrected, reading.speed_rpm)
    return np.where(reading.region == Region.CHOKE, 0.0, margin)


def mean_pull(one):
    """The accepted pulls of an OpenedLog averaged on the grid.

    Returns (table indexed by speed, how many pulls in words, LeftOut per channel that is left out
    where its sensor was at its end). A speed that only some of the pulls reach is left out.
    """
    frame, pulls = one.run.frame, pulls_of(one.stretches)
    channels = [c for c in CHANNELS if c in frame]
    kept = without_ends(one, gridded(frame, pulls, STEP_RPM, ["speed_rpm", *channels]))
    table = {c: np.mean([grid[c] for grid, _ in kept], axis=0) for c in channels}
    index = pd.Index(kept[0][0].speed_rpm, name="speed_rpm")
    said = f"mean of {len(kept)} pull{'s' * (len(kept) != 1)}."
    gone = widest(gone for _, left_out in kept for gone in left_out)
    return pd.DataFrame(table, index).dropna(how="all"), said, gone
