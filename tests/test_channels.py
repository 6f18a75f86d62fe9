"""Headers of benches in several languages find their channel, or honestly do not."""

import pytest

from toolkit.logs.channels import CHANNELS, match
from toolkit.logs.unit_names import inside, kind_fits, unit_of_text
from toolkit.units import KINDS, UnitError, parse

# Trade words of each language; the right column is what a speaker would say it is.
SPOKEN = [
    ("Time (s)", "time_s"),
    ("Zeit", "time_s"),
    ("Temps [s]", "time_s"),
    ("Tiempo", "time_s"),
    ("Tempo [s]", "time_s"),
    ("Tid", "time_s"),
    ("Engine Speed (rpm)", "speed_rpm"),
    ("EngineSpeed", "speed_rpm"),
    ("engineRPM", "speed_rpm"),
    ("Motordrehzahl [1/min]", "speed_rpm"),
    ("n_mot [U/min]", "speed_rpm"),
    ("Régime moteur (tr/min)", "speed_rpm"),
    ("Régimen del motor", "speed_rpm"),
    ("Giri motore", "speed_rpm"),
    ("Rotação do motor", "speed_rpm"),
    ("Varvtal", "speed_rpm"),
    ("Torque, lb-ft", "torque_nm"),
    ("Drehmoment", "torque_nm"),
    ("Couple moteur [N.m]", "torque_nm"),
    ("Par motor (Nm)", "torque_nm"),
    ("Coppia", "torque_nm"),
    ("Binário", "torque_nm"),
    ("Vridmoment", "torque_nm"),
    ("hp", "power_w"),
    ("Leistung [PS]", "power_w"),
    ("Puissance (ch)", "power_w"),
    ("Potencia (CV)", "power_w"),
    ("Potenza", "power_w"),
    ("Effekt [kW]", "power_w"),
    ("TPS", "throttle"),
    ("Drosselklappe %", "throttle"),
    ("Position papillon (%)", "throttle"),
    ("Posición mariposa", "throttle"),
    ("Posizione farfalla", "throttle"),
    ("Posição da borboleta", "throttle"),
    ("Trottel", "throttle"),
    ("Boost/psi", "p_manifold_pa"),
    ("MAP kPa", "p_manifold_pa"),
    ("Ladedruck (mbar)", "p_manifold_pa"),
    ("Pression d'admission", "p_manifold_pa"),
    ("Presión de admisión (kPa)", "p_manifold_pa"),
    ("Pressione collettore", "p_manifold_pa"),
    ("Pressão de admissão", "p_manifold_pa"),
    ("Laddtryck", "p_manifold_pa"),
    ("Back Pressure (psi)", "p_exhaust_pa"),
    ("EMAP", "p_exhaust_pa"),
    ("Abgasgegendruck", "p_exhaust_pa"),
    ("Contre-pression échappement", "p_exhaust_pa"),
    ("Contrapresión de escape", "p_exhaust_pa"),
    ("Contropressione di scarico", "p_exhaust_pa"),
    ("Contrapressão", "p_exhaust_pa"),
    ("Avgasmottryck", "p_exhaust_pa"),
    ("IAT", "t_charge_k"),
    ("Ladelufttemperatur", "t_charge_k"),
    ("Température d'air d'admission", "t_charge_k"),
    ("Temperatura aria aspirata", "t_charge_k"),
    ("EGT1 (F)", "t_exhaust_k"),
    ("Abgastemperatur °C", "t_exhaust_k"),
    ("Kühlmitteltemperatur", "t_coolant_k"),
    ("Kuehlmitteltemperatur", "t_coolant_k"),
    ("Température de l'eau", "t_coolant_k"),
    ("Coolant Temp °C", "t_coolant_k"),
    ("Oil Press, bar", "p_oil_gauge_pa"),
    ("Öldruck", "p_oil_gauge_pa"),
    ("Luftfeuchtigkeit", "humidity"),
    ("Baro [inHg]", "p_cell_pa"),
    ("Luftdruck [hPa]", "p_cell_pa"),
    ("Lambda 1", "lam"),
    ("AFR", "lam"),
    ("Zündwinkel [°KW]", "spark_deg"),
    ("Ignition Advance (deg BTDC)", "spark_deg"),
    ("Einspritzzeit [ms]", "injector_time_s"),
    ("Turbo Speed (rpm)", "shaft_speed_rpm"),
    ("Vehicle Speed [km/h]", "vehicle_speed_m_s"),
    ("Speed (mph)", "vehicle_speed_m_s"),
    ("Speed (rpm)", "speed_rpm"),
    ("Luftmassenstrom kg/h", "air_flow_kg_s"),
    ("Wastegate Duty %", "gate_duty"),
    ("p_comp_out_Pa", "p_compressor_out_pa"),
    ("T_exh_manifold_K", "t_exhaust_k"),
]


@pytest.mark.parametrize(("header", "channel"), SPOKEN)
def test_spoken_names(header, channel):
    found = match(header)
    assert found.channel == channel
    assert found.confidence in ("certain", "likely")
    assert found.why


@pytest.mark.parametrize(
    "header",
    [
        "Boost target (psi)",
        "Ladedruck Soll [mbar]",
        "Lambda error",
        "Max torque",
        "Torque correction",
        "Shift time (s)",
        "MAP sensor voltage",
        "Fuel temperature (°C)",
        "Compressor shaft torque (Nm)",
        "Weight (kg)",
        "No",
        "",
        "Torque (kPa)",
        "Pedal [%]",
    ],
)
def test_what_is_another_quantity_is_not_taken_for_it(header):
    assert match(header).channel == ""


@pytest.mark.parametrize("header", ["Druck", "pressure", "Temperature (°C)", "Speed"])
def test_a_general_name_is_to_be_asked(header):
    found = match(header)
    assert found.confidence == "ask"
    assert len(found.candidates) > 1


def test_our_own_names_are_known_with_their_units():
    for channel, spec in CHANNELS.items():
        found = match(channel)
        assert (found.channel, found.confidence) == (channel, "certain")
        assert spec.kind in KINDS


@pytest.mark.parametrize(
    ("header", "unit", "reference"),
    [
        ("rpm [1/min]", "rpm", ""),
        ("torque (ftlbs)", "lb-ft", ""),
        ("t_s", "s", ""),
        ("intake_pressure_psi", "psi", ""),
        ("manifold_abs_kPa", "kPa", "absolute"),
        ("Manifold Pressure (psig)", "psi", "gauge"),
        ("Boost psi abs", "psi", "absolute"),
        ("brake_torque_Nm", "N*m", ""),
        ("mdot_compressor_kg_s", "kg/s", ""),
        ("engine_speed_rad_s", "rad/s", ""),
        ("Air mass flow in kg/h", "kg/h", ""),
        ("throttle_pct", "%", ""),
        ("hp", "hp", ""),
        ("AFR", "AFR", ""),
        ("AFR Gas", "AFR 14.7", ""),
        ("AFR (E85)", "AFR 9.765", ""),
        ("Drehmoment", "", ""),
    ],
)
def test_units_in_headers(header, unit, reference):
    found = match(header)
    assert (found.unit, found.reference) == (unit, reference)


def test_a_units_row_counts_like_a_unit_in_the_header():
    assert match("Drehmoment", "Nm").unit == "N*m"
    assert match("Speed", "km/h").channel == "vehicle_speed_m_s"


@pytest.mark.parametrize(
    ("written", "kind", "one_in_si"),
    [
        ("psi", "pressure", 6894.757),  # NIST SP 811, table B.8
        ("inHg", "barometer", 3386.39),  # at 0 °C, NIST SP 811
        ("ft·lb", "torque", 1.355818),
        ("kgm", "torque", 9.80665),
        ("PS", "power", 735.49875),
        ("CV", "power", 735.49875),
        ("hp", "power", 745.6999),
        ("U/min", "engine_speed", 1.0),
        ("lbs/min", "air_flow", 0.45359237 / 60),
        ("kg/cm²", "pressure", 98066.5),
        ("%", "fraction", 0.01),
        ("µs", "time", 1e-6),
        ("°BTDC", "angle", 1.0),
    ],
)
def test_unit_spellings_mean_what_the_standard_says(written, kind, one_in_si):
    unit, _ = unit_of_text(written)
    assert inside(1.0, unit, kind) == pytest.approx(one_in_si, rel=2e-6)


def test_temperatures_have_their_zero():
    assert inside(212.0, unit_of_text("deg F")[0], "temperature") == pytest.approx(373.15)
    assert inside(100.0, unit_of_text("ºC")[0], "temperature") == pytest.approx(373.15)


def test_arrays_are_converted_as_the_units_module_does():
    assert inside([1.0, 14.0], "psi", "boost")[1] == pytest.approx(parse("14 psi", "boost"))


def test_mixture_scales():
    assert inside(11.8, "AFR 14.7", "lambda") == pytest.approx(0.803, abs=5e-4)
    assert inside(7.8, "AFR 9.765", "lambda") == pytest.approx(0.80, abs=2e-3)
    assert not kind_fits("psi", "lambda")


def test_a_fuel_flow_by_volume_needs_a_density():
    assert inside(2.0, "cm**3/s of 745 kg/m3", "fuel_flow") == pytest.approx(1.49e-3)
    assert kind_fits("cm**3/s", "fuel_flow")


def test_no_unit_is_invented():
    assert unit_of_text("bank 1") is None
    assert unit_of_text("") is None
    with pytest.raises(UnitError):
        inside(1.0, "psi", "temperature")
