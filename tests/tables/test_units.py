"""Conversions against NIST Special Publication 811 (2008), appendix B.8, which gives seven figures."""

import polars as pl
import pytest

from screener import units

# name in US units, 1 of it in SI by NIST SP 811: ft 3.048 E-01 m; ft2 9.290304 E-02 m2; ft3/min 4.719474 E-04 m3/s;
# ton of refrigeration (12 000 Btu_IT/h) 3.516853 E+03 W; Btu_IT/h 2.930711 E-01 W; pint (US liquid) 4.731765 E-01 L;
# pound 4.535924 E-01 kg; therm (U.S.) 1.054804 E+08 J
NIST = {
    "floor_area_ft2": ("floor_area_m2", 9.290304e-2),
    "elevation_ft": ("elevation_m", 3.048e-1),
    "outdoor_air_cfm": ("outdoor_air_l_s", 4.719474e-1),
    "infiltration_cfm_ft2": ("infiltration_l_s_m2", 4.719474e-1 / 9.290304e-2),
    "outdoor_air_cfm_person": ("outdoor_air_l_s_person", 4.719474e-1),
    "cooling_capacity_tons": ("cooling_capacity_kw", 3.516853),
    "cooling_capacity_btu_h": ("cooling_capacity_kw", 2.930711e-4),
    "cooling_eer": ("cooling_cop", 2.930711e-1),
    "capacity_pints_day": ("capacity_l_day", 4.731765e-1),
    "pints_per_kwh": ("litres_per_kwh", 4.731765e-1),
    "process_moisture_lb_h": ("process_moisture_kg_h", 4.535924e-1),
    "fuel_price_per_therm": ("fuel_price_per_kwh", 3.6e6 / 1.054804e8),
}


@pytest.mark.parametrize("name", NIST)
def test_factor(name: str) -> None:
    si_name, factor = NIST[name]
    assert units.si_name(name) == si_name
    assert in_si(1.0, name) == pytest.approx(factor, rel=3e-7)
    assert units.from_si(factor, name) == pytest.approx(1.0, rel=3e-7)


@pytest.mark.parametrize(("name", "therms"), [("fuel_price_per_mcf", 10.36), ("fuel_price_per_ccf", 1.036)])
def test_a_volume_of_gas_is_what_the_trade_bills_for_it(name: str, therms: float) -> None:
    """A hundred cubic feet are 1.036 therms, the US mean of 2022 [EIA, frequently asked questions, from memory]."""
    assert in_si(1.0, name) == pytest.approx(3.6e6 / 1.054804e8 / therms, rel=1e-3)


# Exact by the definition of the degree Fahrenheit [NIST SP 811, B.8]
@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (212, 100), (-40, -40), (68, 20), (77, 25)])
def test_temperature(fahrenheit: float, celsius: float) -> None:
    assert in_si(fahrenheit, "cooling_setpoint_f") == pytest.approx(celsius, abs=1e-12)
    assert units.from_si(celsius, "cooling_setpoint_f") == pytest.approx(fahrenheit, abs=1e-12)


@pytest.mark.parametrize("name", ["floor_area_m2", "rank", "electricity_kwh", "current_strategy", "peak_kw"])
def test_other_names_carry_no_us_unit(name: str) -> None:
    assert units.si_name(name) == name
    assert in_si(7.0, name) == 7.0


def in_si(value: float, name: str) -> float:
    return float(pl.select(units.to_si(pl.lit(value), name)).item())


def test_output_in_us_units() -> None:
    frame = pl.DataFrame(
        {
            "site_id": ["A"],
            "floor_area_m2": [92.90304],
            "dew_point_p95_c": [12.0],
            "cooling_capacity_kw": [35.16853],
            "peak_kw": [3.0],
            "water_removed_kg": [1.0],
            "internal_gain_w_m2": [12.0],
            "occupants_per_100_m2": [5.0],
            "litres_per_kwh": [4.731765],
        }
    )
    us = units.to_us(frame)
    expected = {"floor_area_ft2": 1000, "dew_point_p95_f": 53.6, "cooling_capacity_tons": 10, "peak_kw": 3}
    expected |= {"water_removed_kg": 1, "internal_gain_w_m2": 12, "occupants_per_100_m2": 5, "pints_per_kwh": 10}
    assert us.columns == ["site_id", *expected]
    assert us.drop("site_id").row(0, named=True) == pytest.approx(expected, rel=3e-7)
