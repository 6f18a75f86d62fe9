"""Invented compressor maps and builds for the tests of the match."""

import numpy as np

from toolkit.physics.compressor import CompressorMap
from toolkit.physics.gate import Gate
from toolkit.physics.points import Points


def invented_map(scale_kg_s=0.45, top_rpm=140e3, top_ratio=4.0, efficiency=None, lines=9):
    """A plausible map: lines that flatten towards surge and fall steeply to choke."""
    share = np.linspace(0.28, 1.0, lines)[:, None]
    place = np.linspace(0, 1, 8)[None, :]
    surge, choke = 0.42 * scale_kg_s * share**1.25, scale_kg_s * share**0.95
    flow = surge + (choke - surge) * np.sin(np.pi / 2 * place)
    ratio = 1 + (top_ratio - 1) * share**2 * (1 - 0.10 * place - 0.35 * place**3)
    eta = 0.77 - 0.15 * (place - 0.45) ** 2 - 0.18 * place**6 - 0.12 * (share - 0.65) ** 2
    eta = np.full(flow.shape, efficiency) if efficiency else eta
    speed = np.broadcast_to(top_rpm * share, flow.shape)
    columns = [np.ravel(c) for c in (speed, speed, flow, ratio, eta)]
    return CompressorMap.from_points(*columns, t_ref_k=298.15, p_ref_pa=100e3)


def random_points(count, seed=1, maps=3):
    """Physical builds drawn at random, each at its own speed, boost and weather."""
    rng = np.random.default_rng(seed)

    def between(low, high):
        return rng.uniform(low, high, count)

    cell = between(60e3, 104e3)
    valve = np.pi / 4 * between(0.025, 0.05) ** 2
    diaphragm = valve * between(2, 6)
    gate = Gate(
        valve, diaphragm, preload_n=between(10e3, 200e3) * diaphragm, rate_n_m=between(5e3, 3e4),
        max_lift_m=between(0.004, 0.014), port_area_m2=valve * between(0.7, 1.0),
    )  # fmt: skip
    slope = rng.random(count) < 0.5
    linear = -1 / (1.4 * (between(7.5, 12) - 1))
    return Points(
        volume_flow_m3_s=between(0.7, 1.1) * between(1.0e-3, 8e-3) * between(1000, 8500) / 120,
        breathing_linear=np.where(slope, 0, linear),
        breathing_log=np.where(slope, between(-0.5, 0), 0),
        p_cell_pa=cell,
        t_cell_k=between(255, 318),
        r_intake_j_kgk=between(287, 291),
        p_target_pa=cell + between(10e3, 250e3),
        intake_loss=between(0, 5e3) * 1e5 / 300 / 0.3**2,
        cooler_loss=between(0, 20e3) * 2e5 / 380 / 0.4**2,
        exhaust_loss=between(0, 40e3) * 1.3e5 / 1050 / 0.4**2,
        effectiveness=between(0, 1),
        t_medium_k=between(273, 330),
        exhaust_per_air=1 + 1 / between(9, 15),
        t_exhaust_k=between(850, 1300),
        lam=between(0.7, 1.05),
        map=rng.integers(0, maps, count),
        turbine=0,
        turbine_area_m2=between(3e-4, 20e-4),
        turbine_efficiency=between(0.5, 0.8),
        mechanical_efficiency=between(0.9, 0.99),
        turbos=rng.integers(1, 3, count),
        gated=rng.random(count) < 0.7,
        gate_share=rng.integers(0, 2, count).astype(float),
        gate=gate,
    )
