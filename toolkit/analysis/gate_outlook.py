"""What a gate would do at a target, and whether the target is far for its spring."""

import numpy as np

from toolkit import units
from toolkit.analysis.gate_log import along
from toolkit.physics import gate as gates


def reach(target_gauge_pa, spring_only_gauge_pa, system="US"):
    """A caution where the target is far above what the spring alone holds; "" where it is not.

    Common practice: about twice the boost on the spring alone, as measured, is what a control
    reaches with a steady hand; some go further.

    >>> reach(15 * 6894.757, 8 * 6894.757)
    ''
    >>> reach(17 * 6894.757, 8 * 6894.757).split(":")[0]
    'The target is 2.1 times the 8.0 psi that the spring alone holds'
    """
    if spring_only_gauge_pa <= 0:
        return (
            "The spring alone holds no boost: all of it hangs on the control, and where that "
            "slips nothing is left. Common practice stops at about twice the spring's own."
        )
    times = target_gauge_pa / spring_only_gauge_pa
    if not times > 2:
        return ""
    alone = units.text(spring_only_gauge_pa, "boost", system)
    return (
        f"The target is {times:.1f} times the {alone} that the spring alone holds: common "
        "practice stops at about twice, because a small slip of the control then means much boost."
    )


def outlook(gate, log, target_gauge_pa, system="US"):
    """What this gate would do at the target, in one sentence.

    Back pressure is taken in proportion to boost from what the log shows: an estimate.
    """
    seen = along(gate, log, target_gauge_pa)
    target = np.asarray(target_gauge_pa, dtype=float) + 0 * log.speed_rpm
    spare = gates.holding_drop_pa(gate, target, gate.share_limit) - log.drop_per_boost * target
    if not np.isfinite(spare).any():
        return "Back pressure is not known, so what this gate would do cannot be told."

    def psi(value):
        return units.text(value, "boost", system)

    def rpm(i):
        return units.text(log.speed_rpm[i], "engine_speed", system)

    last, tight = np.flatnonzero(np.isfinite(spare))[-1], int(np.nanargmin(spare))
    alone = f"on the spring alone boost is about {psi(seen.low_gauge_pa[last])} at {rpm(last)}."
    if spare[tight] < 0:
        first = int(np.flatnonzero(spare < 0)[0])
        return f"At {psi(target[last])} it is pushed open from {rpm(first)} on; {alone}"
    above = np.flatnonzero(seen.low_gauge_pa > target)
    if above.size:
        return (
            f"It cannot hold {psi(target[last])} from {rpm(above[0])} on: the spring alone holds "
            f"more, and a control can only add to it; {alone}"
        )
    held = f"It holds {psi(target[last])} at every speed, {psi(spare[tight])} of back pressure "
    return f"{held}to spare at {rpm(tight)}; {alone}"
