"""Constants and hours worked out by hand, each from a published figure, a rule of the trade or a law, so that a slip of a sign
or of two per cent does not pass for the engine's own kept results. `python -m tests.slips` plants such slips."""

from typing import Any

import polars as pl
import pytest

from screener import loads, sizing
from screener.climate import figures
from screener.economics.present_value import Terms
from screener.physics import (
    cooling_coil,
    dehumidifier,
    desiccant,
    enthalpy_wheel,
    heat_pipe,
    heat_pump,
    outdoor_air_unit,
    part_load_moisture,
    refrigeration,
)
from screener.worksheet import Worksheet
from tests.engine_cases import filled

FAN_EFFICIENCY = 0.55  # common practice, no source: what every fan of a device is reckoned with


def fan_w_l_s(pascal: float) -> float:
    """Power of a fan per flow: pressure over efficiency, 1 Pa x 1 L/s = 1 mW."""
    return pascal / 1000 / FAN_EFFICIENCY


@pytest.mark.parametrize(
    ("choice", "t_wet_s", "gamma", "tau_s"), [("moderate", 720, 0.33, 30), ("strong", 1000, 1.5, 45)]
)
def test_what_a_wet_coil_holds_is_as_published(choice: str, t_wet_s: float, gamma: float, tau_s: float) -> None:
    """The two sets of parameters that are published with the model [Henderson, Rengarajan 1996, from memory]."""
    assert part_load_moisture.RETENTION[choice] == part_load_moisture.Retention(t_wet_s, gamma, tau_s)


def test_latent_ratio_at_half_run_by_hand() -> None:
    """X = 0.5, three cycles an hour: on and off for 600 s each. Moderate: 0.33 x 600 - 198^2/2880 = 184.39; t_o = 184.39 +
    30 (1 - exp(-t_o/30)) = 214.37 s; L = (600 - 214.37)/(600 - 30) = 0.6766."""
    assert part_load_moisture.latent_ratio(0.5, part_load_moisture.RETENTION["moderate"]) == pytest.approx(
        0.6766, abs=1e-4
    )


FANS = {  # power, pressure of all streams [Pa], what the power is rounded to
    "wheel, both streams": (enthalpy_wheel.FAN_W_L_S, 300, 0.05),
    "heat pipe, both halves": (heat_pipe.FAN_W_L_S, 125, 0.01),
    "outdoor-air unit": (outdoor_air_unit.FAN_W_L_S, 500, 0.05),
}


@pytest.mark.parametrize("fan", FANS)
def test_fans_by_hand(fan: str) -> None:
    """Pressures from practice: 0.545, 0.227 and 0.909 W per L/s, which are rounded to 0.55, 0.23 and 0.90."""
    power, pascal, step = FANS[fan]
    assert power == pytest.approx(round(fan_w_l_s(pascal) / step) * step, rel=1e-9)


def test_a_stream_of_a_wheel_is_half_of_it() -> None:
    assert pytest.approx(enthalpy_wheel.FAN_W_L_S) == 2 * enthalpy_wheel.STREAM_W_L_S


def test_fan_of_a_desiccant_by_hand() -> None:
    """1 kg of water takes 200 kg of air at 5 g/kg, in two streams of 450 Pa: 2 x 200 / 1.2 m3 x 450 Pa / 0.55 = 0.273 MJ; with
    bearings and drives a quarter more, 0.35 MJ (common practice, no source)."""
    assert 1.2 < desiccant.FAN_J_KG / (2 * 200 / 1.2 * 450 / FAN_EFFICIENCY) < 1.3


def test_effectiveness_lies_where_the_trade_has_it() -> None:
    """Middles of the ranges of ordinary products: wrap-around pipes 0.35-0.55, wheels 0.70-0.80 sensible, AHRI 1060 (memory)."""
    assert pytest.approx((0.35 + 0.55) / 2) == heat_pipe.EFFECTIVENESS
    assert pytest.approx((0.70 + 0.80) / 2) == enthalpy_wheel.SENSIBLE_EFFECTIVENESS
    assert pytest.approx(0.70) == enthalpy_wheel.LATENT_EFFECTIVENESS


@pytest.mark.parametrize(
    ("outdoor_c", "cop"),
    [
        (-8.3, 2.25),  # 17 F: the federal level, no frost 10 K below its middle
        (1.7, (2.25 + 1.15 / 16.6 * 10) * 0.9),  # 35 F: a tenth lost
        (5.7, (2.25 + 1.15 / 16.6 * 14) * 0.95),  # half way out of frost
        (-2.3, (2.25 + 1.15 / 16.6 * 6) * 0.95),
        (9.7, 2.25 + 1.15 / 16.6 * 18),  # where frost ends
        (40.0, 4.5),
        (-40.0, 1.0),
    ],
)
def test_cop_of_a_heat_pump_by_hand(outdoor_c: float, cop: float) -> None:
    """The line through 3.4 at 8.3 and 2.25 at -8.3 degC (47 and 17 F) [10 CFR 431, from memory]: 1.15/16.6 a kelvin."""
    assert heat_pump.heating_cop(outdoor_c) == pytest.approx(cop, rel=1e-9)


def test_thresholds_of_frost_are_those_of_water() -> None:
    """Water freezes at 0 degC: an outdoor-air coil is 7 K above its refrigerant; a comfort coil is kept one kelvin above;
    an ordinary standalone unit, whose evaporator is some 18 K below the room, frosts below 18 degC (65 F; practice)."""
    assert outdoor_air_unit.COLDEST_SUPPLY_C - outdoor_air_unit.EVAPORATOR_APPROACH_K == 0.0
    assert cooling_coil.COLDEST_ADP_C == 1.0
    assert pytest.approx((65 - 32) / 1.8, abs=0.35) == dehumidifier.FROST_C


def test_ratings_are_at_the_states_of_the_standards() -> None:
    """AHRI 340/360: 80/67 F indoors, 95 F outdoors; portable units 80 F, 60 % [10 CFR 430 appendix X]."""
    rated = (cooling_coil.RATED_INDOOR_C, cooling_coil.RATED_INDOOR_WET_BULB_C, cooling_coil.RATED_OUTDOOR_C)
    assert rated == tuple(round((fahrenheit - 32) / 1.8, 1) for fahrenheit in (80, 67, 95))
    assert (dehumidifier.RATING_C, dehumidifier.RATING_RH_PCT) == (26.7, 60.0)


def test_a_drier_store_by_the_measured_one() -> None:
    """0.4 % of refrigeration energy a point of humidity; heaters 4 of 2,500 kWh a day [Henderson, Khattar 1999]; of a
    published 2-9 % for five points the upper end is 1.8 %."""
    assert pytest.approx(10 / 2500) == refrigeration.ENERGY_PER_RH_PCT
    assert pytest.approx(4 / 2500) == refrigeration.ANTI_SWEAT_PER_RH_PCT
    assert pytest.approx(0.09 / 5) == refrigeration.ENERGY_PER_RH_PCT_HIGH


def test_indoor_derating_is_what_the_coil_does_off_its_rating() -> None:
    """A coil at 23 degC and 50 % takes 0.88 of what it takes at 26.7/19.4 degC: the ratio of its wet-bulb temperature's
    reach, 2.5 % a kelvin of apparatus dew point [cooling_coil]; the wet-bulb of 23 degC, 50 % is 16.3 degC, 3.1 K lower, and
    the coil's apparatus dew point with it by three fifths to all of that: 5 to 8 % less by this, and as much by the sensible part
    (practice: 4-5 % a kelvin of wet-bulb, 12-15 % for 3 K)."""
    assert 1 - 0.15 < sizing.INDOOR_DERATING < 1 - 0.115


def test_present_values_by_hand() -> None:
    """NIST Handbook 135: 3 %, 15 years: UPV 11.94, SPV 0.642; an escalation of 1 % makes it 12.87 by the same table's formula."""
    terms = Terms(0.03, 15)
    assert terms.electricity(15) == pytest.approx(11.94, abs=0.005)
    assert terms.once(15) == pytest.approx(0.642, abs=0.0005)
    share = 1.01 / 1.03
    assert Terms(0.03, 15, 0.0, 0.01).electricity(15) == pytest.approx(share * (1 - share**15) / (1 - share))


def test_water_of_people_and_processes_by_hand() -> None:
    """Ten people at moderate office work give off 75 W to be felt and 55 W as water [ASHRAE Fundamentals 2017 ch. 18 table 1]:
    550 W over 2.45 MJ/kg. 3.6 kg an hour of a process are a gram a second."""
    office = {"building_type": "office", "floor_area_m2": 200.0, "peak_occupants": 10.0, "process_moisture_kg_h": 3.6}
    terms = loads.site_terms(filled([office]), at_peak=True).row(0, named=True)
    assert terms["people_w"] == pytest.approx(750.0)
    assert terms["people_kg_s"] == pytest.approx(550 / 2.45e6)
    assert terms["process_kg_s"] == pytest.approx(0.001)


@pytest.mark.parametrize(("outdoor_c", "need_kw"), [(35.0, 15.152), (45.0, 16.119), (25.0, 14.294)])
def test_a_coil_is_sized_larger_for_hotter_weather_by_hand(outdoor_c: float, need_kw: float) -> None:
    """10 kW of heat at a sensible heat ratio of 0.75: 13.33 kW over 0.88 indoors, and over 0.94 or 1.06 ten kelvin from 35 degC
    at 0.6 % a kelvin (practice)."""
    sheet = Worksheet()
    sheet.let("need_w", sizing._coil_need_w())
    hour = {"sensible_at_cooling_w": 10_000.0, "moisture_at_limit_kg_s": 0.0, "rated_sensible_heat_ratio": 0.75}
    found = sheet.apply(pl.DataFrame(hour | {"outdoor_c": outdoor_c}).lazy()).collect()["need_w"][0]
    assert found / 1000 == pytest.approx(need_kw, abs=0.001)


def hour(**changed: float) -> dict[str, Any]:
    """The gains of one hour of a space in which nothing happens but what is `changed`."""
    sheet = Worksheet()
    loads.steps(sheet, 0.0)
    columns = dict.fromkeys(sheet.inputs(), 0.0) | {"opens_hour": 8.0, "closes_hour": 18.0, "hour": 12.0}
    columns |= {"open_days_bits": 127.0, "day_bit": 1.0, "month_bit": 1.0} | changed
    return sheet.apply(pl.DataFrame(columns).lazy()).collect().row(0, named=True)


@pytest.mark.parametrize(
    ("opens", "closes", "is_open"),
    [
        (8.5, 17.5, range(8, 17)),  # an hour is open from its middle on
        (8.0, 18.0, range(8, 18)),
        (22.5, 2.5, [22, 23, 0, 1]),
        (0.0, 24.0, range(24)),
    ],
)
def test_half_hours_of_opening(opens: float, closes: float, is_open: Any) -> None:
    """From 8:30 to 17:30 there are nine hours, and as many are reckoned with."""
    found = [at for at in range(24) if hour(opens_hour=opens, closes_hour=closes, hour=float(at))["open"] == 1.0]
    assert sorted(found) == sorted(is_open)
    assert len(found) == (closes - opens) % 24 or (closes - opens) == 24


def test_solar_gain_by_hand() -> None:
    """5 m2 of aperture under 400 W/m2 bring 2,000 W; 3 m2 for every 100 m2 of 200 m2 floor are 6 m2."""
    sunny, dark = (hour(aperture_m2=5.0, irradiance_w_m2=sun)["internal_and_sun_w"] for sun in (400.0, 0.0))
    assert sunny - dark == pytest.approx(2000.0)


def test_ventilation_load_index_by_hand() -> None:
    """1 cfm of standard air, 0.075 lb/ft3, is 4.5 lb/h: 0.24 Btu/(lb F) make 1.08 Btu/(h F); a ton is 12,000 Btu/h."""
    pounds = 60 * 0.075
    assert pytest.approx(pounds * 0.24 * 1.8 / 12_000, rel=1e-6) == figures.SENSIBLE_TON_HOURS
    assert pytest.approx(pounds * 1076 / 12_000, rel=1e-6) == figures.LATENT_TON_HOURS
