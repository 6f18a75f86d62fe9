"""The gate's view of a bench's logs: loggers of the same pulls, brought together by speed."""

from dataclasses import replace

import numpy as np
import pandas as pd

from toolkit.analysis.gate_log import GateLog
from toolkit.analysis.sides import opened
from toolkit.logs.grid import gridded
from toolkit.logs.pulls import pulls_of

STEP_RPM = 100.0
CHANNELS = (
    "p_cell_pa",
    "p_manifold_pa",
    "p_compressor_out_pa",
    "p_exhaust_pa",
    "p_turbine_out_pa",
    "p_gate_top_gauge_pa",
    "gate_duty",
    "gate_lift_m",
    "air_flow_kg_s",
)


def gate_log(bench, names, outlet_gauge_pa=None):
    """What the gate saw in the logs of these names, the mean of each log's pulls. [GateLog]

    The first log is the one that is believed; a later one (a controller's beside a dyno's)
    gives only the channels that those before it lack. Each is averaged in bins of 100 rpm on its
    own, so their clocks need not agree. outlet_gauge_pa: as in `GateLog.from_channels`.
    Raises LogError or ValueError, one sentence, where a log or a channel is missing.
    """
    frame, notes = pd.DataFrame(), []
    for name in names:
        tested = opened(bench, name, with_partner=False)
        mean, pulls = mean_pull(tested.run.frame, tested.stretches)
        frame = mean if frame.empty else frame.join(mean[mean.columns.difference(frame.columns)])
        notes.append(f"{name}: mean of {pulls} pull{'s' * (pulls != 1)}.")
    log = GateLog.from_channels(frame, outlet_gauge_pa=outlet_gauge_pa)
    return replace(log, notes=(*notes, f"Bins of {STEP_RPM:.0f} rpm, no smoothing.", *log.notes))


def mean_pull(frame, stretches):
    """The accepted pulls of a log averaged on the grid, as (table indexed by speed, how many).

    A speed that only some of the pulls reach is left out.
    """
    channels = [c for c in CHANNELS if c in frame]
    grids = gridded(frame, pulls_of(stretches), STEP_RPM, ["speed_rpm", *channels])
    table = {c: np.mean([g[c] for g in grids], axis=0) for c in channels}
    index = pd.Index(grids[0].speed_rpm, name="speed_rpm")
    return pd.DataFrame(table, index).dropna(how="all"), len(grids)
