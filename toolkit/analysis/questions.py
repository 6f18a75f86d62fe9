"""What each question needs: which channels, which of them a run has, what to log next time."""

from dataclasses import dataclass

from toolkit.logs.channels import CHANNELS


@dataclass(frozen=True)
class Need:
    """One question and the channels that answer it.

    needs: groups of channels, one of each group; better: those that make the answer firmer.
    """

    question: str
    needs: tuple[tuple[str, ...], ...]
    better: tuple[str, ...] = ()


@dataclass(frozen=True)
class Answerable:
    """A question for one run: what it has, what is missing for any answer, what would help."""

    question: str
    has: tuple[str, ...]
    missing: tuple[str, ...]
    helpful: tuple[str, ...]

    @property
    def can(self):
        """Whether the run can answer it at all."""
        return not self.missing

    @property
    def advice(self):
        """What to log next time; "" where nothing is wanting."""
        wanted = self.missing or self.helpful
        return f"log {', '.join(wanted)}" if wanted else ""


_POWER = ("torque_nm", "power_w")
QUESTIONS = (
    Need("Which set-up makes more, and where?", (("speed_rpm",), _POWER),
         ("p_cell_pa", "t_cell_k", "humidity")),
    Need("Where does back pressure pass boost?", (("speed_rpm",), ("p_manifold_pa",),
         ("p_exhaust_pa",)), ("p_cell_pa",)),
    Need("Was it a like-for-like test?", (("spark_deg",), ("lam",)),
         ("t_charge_k", "t_oil_k", "throttle")),
    Need("Why did the power change?", (("speed_rpm",), _POWER, ("p_manifold_pa",),
         ("p_exhaust_pa",)), ("t_charge_k", "lam", "spark_deg", "air_flow_kg_s", "p_cell_pa",
         "t_cell_k", "humidity")),
    Need("Did back pressure push the gate open?", (("p_manifold_pa",), ("p_exhaust_pa",)),
         ("p_gate_top_gauge_pa", "gate_duty", "gate_lift_m", "p_turbine_out_pa")),
    Need("Would a stiffer spring hold it?", (("p_manifold_pa",), ("p_exhaust_pa",),
         ("p_gate_top_gauge_pa", "gate_duty")), ("gate_lift_m", "p_turbine_out_pa")),
    Need("How well does the compressor do?", (("p_compressor_in_pa", "p_cell_pa"),
         ("p_compressor_out_pa",), ("t_compressor_in_k", "t_cell_k"), ("t_compressor_out_k",)),
         ("air_flow_kg_s", "shaft_speed_rpm")),
    Need("How well does the charge cooler do?", (("t_compressor_out_k",), ("t_charge_k",),
         ("t_cooler_water_k", "t_cell_k")), ("p_compressor_out_pa", "p_manifold_pa")),
    Need("Is there fuel enough?", (("injector_duty", "injector_time_s"),),
         ("p_rail_gauge_pa", "lam", "fuel_flow_kg_s")),
    Need("What is the volumetric efficiency?", (("air_flow_kg_s",), ("p_manifold_pa",),
         ("t_charge_k",), ("speed_rpm",)), ("lam",)),
    Need("Does the shaft stay below its limit?", (("shaft_speed_rpm",),), ("t_compressor_in_k",)),
    Need("How late does boost come after the throttle opens?", (("time_s",), ("throttle",),
         ("p_manifold_pa",)), ("shaft_speed_rpm",)),
)  # fmt: skip


def answerable(channels):
    """Every question against the channels of a run, in order.

    >>> first = answerable(["speed_rpm", "torque_nm"])[0]
    >>> first.can, first.advice
    (True, 'log barometer, cell air temperature, relative humidity')
    """
    have = set(channels)
    return tuple(_answerable(need, have) for need in QUESTIONS)


def _answerable(need, have):
    present = [c for group in need.needs for c in group if c in have]
    missing = [" or ".join(_words(c) for c in group) for group in need.needs
               if not have & set(group)]  # fmt: skip
    return Answerable(
        need.question,
        tuple(_words(c) for c in (*present, *(c for c in need.better if c in have))),
        tuple(missing),
        tuple(_words(c) for c in need.better if c not in have),
    )


def _words(channel):
    return CHANNELS[channel].words
