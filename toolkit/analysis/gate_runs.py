"""The gate's view of a bench's logs: loggers of the same pulls, brought together by speed."""

from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit.analysis.gate_log import GateLog
from toolkit.analysis.sides import opened
from toolkit.logs.grid import gridded
from toolkit.logs.pulls import pulls_of
from toolkit.physics.compressor import Region, corrected_flow_kg_s

STEP_RPM = 100.0
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
    frame, notes = pd.DataFrame(), []
    for name in names:
        tested = opened(bench, name, with_partner=False)
        mean, pulls = mean_pull(tested.run.frame, tested.stretches)
        frame = mean if frame.empty else frame.join(mean[mean.columns.difference(frame.columns)])
        notes.append(f"{name}: mean of {pulls} pull{'s' * (pulls != 1)}.")
    log = GateLog.from_channels(frame, outlet_gauge_pa=outlet_gauge_pa)
    if (
        turbo is not None
        and turbo.compressor is not None
        and {"air_flow_kg_s", "t_cell_k"} <= {*frame}
    ):
        log = replace(log, choke_margin=choke_margin(frame, log, turbo))
    return replace(log, notes=(*notes, f"Bins of {STEP_RPM:.0f} rpm, no smoothing.", *log.notes))


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


def mean_pull(frame, stretches):
    """The accepted pulls of a log averaged on the grid, as (table indexed by speed, how many).

    A speed that only some of the pulls reach is left out.
    """
    channels = [c for c in CHANNELS if c in frame]
    grids = gridded(frame, pulls_of(stretches), STEP_RPM, ["speed_rpm", *channels])
    table = {c: np.mean([g[c] for g in grids], axis=0) for c in channels}
    index = pd.Index(grids[0].speed_rpm, name="speed_rpm")
    return pd.DataFrame(table, index).dropna(how="all"), len(grids)
