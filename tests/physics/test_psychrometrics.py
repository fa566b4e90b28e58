"""Moist air against published tables, worked examples and two independent libraries."""

from pathlib import Path

import polars as pl
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from screener.formula import of_columns, plain
from screener.physics import psychrometrics as air

SEA_LEVEL = 101325.0
TABLE = pl.read_csv(Path(__file__).parent / "moist_air_table.csv", comment_prefix="#")
psychrolib.SetUnitSystem(psychrolib.SI)


def value(number: float) -> float:
    return plain(number)


def lit(*numbers: float) -> list[float]:
    return [float(n) for n in numbers]


@pytest.mark.parametrize("row", TABLE.to_dicts(), ids=lambda row: f"{row['dry_bulb_c']} degC")
def test_saturation_as_tabulated(row):
    """Ideal gas against the real-gas table: 0.1 % in pressure, 0.5 % in humidity (1 % at 50 degC and in frost), 3 % in
    enthalpy or 60 J/kg."""
    t, p = lit(row["dry_bulb_c"], SEA_LEVEL)
    assert value(air.saturation_pressure(t)) == pytest.approx(row["saturation_pressure_pa"], rel=1e-3)
    w = air.humidity_ratio_from_dew_point(t, p)
    loose = row["dry_bulb_c"] in (-20, 50)
    assert value(w) == pytest.approx(row["saturated_humidity_ratio"], rel=1e-2 if loose else 5e-3)
    assert value(air.enthalpy(t, w)) == pytest.approx(row["saturated_enthalpy_j_kg"], rel=0.03, abs=60)


def test_example_1_state_from_wet_bulb():
    """ASHRAE Fundamentals 2017 ch. 1 example 1: 40 degC, wet-bulb 20 degC; printed to the digits asserted."""
    t, wet_bulb, p = lit(40, 20, SEA_LEVEL)
    w = air.humidity_ratio_from_wet_bulb(t, wet_bulb, p)
    assert value(w) == pytest.approx(0.0065, abs=1.2e-4)  # ideal gas: 0.0064
    assert value(air.enthalpy(t, w)) / 1000 == pytest.approx(56.7, abs=0.3)
    assert value(air.dew_point(w, p)) == pytest.approx(7, abs=0.5)
    assert value(air.relative_humidity(t, w, p)) == pytest.approx(0.14, abs=0.005)
    assert 1 / value(air.dry_air_density(t, w, p)) == pytest.approx(0.896, abs=0.001)


def test_example_2_heating():
    """Saturated at 2 degC heated to 40 degC, 10 m3/s: 491 kW (statement from memory, result computed)."""
    cold, hot, p = lit(2, 40, SEA_LEVEL)
    w = air.humidity_ratio_from_dew_point(cold, p)
    flow = 10 * value(air.dry_air_density(cold, w, p))
    assert flow * value(air.enthalpy(hot, w) - air.enthalpy(cold, w)) / 1000 == pytest.approx(491, rel=0.005)


def test_example_3_cooling_and_condensate():
    """30 degC 50 %, 5 m3/s, cooled to saturated 10 degC: 197.7 kW and 116.6 kg/h; condensate leaves at 10 degC."""
    warm, cold, half, p = lit(30, 10, 0.5, SEA_LEVEL)
    w1 = air.humidity_ratio_from_relative_humidity(warm, half, p)
    w2 = air.humidity_ratio_from_dew_point(cold, p)
    flow = 5 * value(air.dry_air_density(warm, w1, p))
    water = flow * value(w1 - w2)
    duty = flow * value(air.enthalpy(warm, w1) - air.enthalpy(cold, w2)) - water * 42_010
    assert duty / 1000 == pytest.approx(197.7, rel=0.01)
    assert water * 3600 == pytest.approx(116.6, rel=0.01)


def test_example_4_mixing():
    """2 m3/s at 4/2 degC wet-bulb with 6.25 m3/s at 25 degC 50 %: 19.5 degC, wet-bulb 14.6 degC."""
    t1, wb1, t2, half, p = lit(4, 2, 25, 0.5, SEA_LEVEL)
    w1 = air.humidity_ratio_from_wet_bulb(t1, wb1, p)
    w2 = air.humidity_ratio_from_relative_humidity(t2, half, p)
    m1, m2 = 2 * value(air.dry_air_density(t1, w1, p)), 6.25 * value(air.dry_air_density(t2, w2, p))
    t, w = (m1 * 4 + m2 * 25) / (m1 + m2), (m1 * value(w1) + m2 * value(w2)) / (m1 + m2)
    assert t == pytest.approx(19.5, abs=0.1)
    assert psychrolib.GetTWetBulbFromHumRatio(t, w, SEA_LEVEL) == pytest.approx(14.6, abs=0.1)


def test_example_5_steam():
    """20 degC, wet-bulb 8 degC, dry air 2 kg/s, brought to a dew point of 13 degC by saturated steam of 110 degC
    (2691 kJ/kg): about 21 degC and 54 kg/h (statement from memory, result computed)."""
    t, wet_bulb, dew_point, p = lit(20, 8, 13, SEA_LEVEL)
    w1 = value(air.humidity_ratio_from_wet_bulb(t, wet_bulb, p))
    w2 = value(air.humidity_ratio_from_dew_point(dew_point, p))
    assert 2 * (w2 - w1) * 3600 == pytest.approx(54.5, rel=0.01)
    h = value(air.enthalpy(t, w1)) + (w2 - w1) * 2.691e6
    assert psychrolib.GetTDryBulbFromEnthalpyAndHumRatio(h, w2) == pytest.approx(21, abs=0.2)


def test_example_6_supply_air():
    """Room 25/19 degC wet-bulb, 9 kW sensible, 0.0015 kg/s vapour, supply 15 degC: 0.88 kg/s, wet-bulb about 14.0."""
    room, wet_bulb, supply, p = lit(25, 19, 15, SEA_LEVEL)
    w = air.humidity_ratio_from_wet_bulb(room, wet_bulb, p)
    flow = 9000 / value(air.enthalpy(room, w) - air.enthalpy(supply, w))
    assert flow == pytest.approx(0.88, abs=0.01)
    assert psychrolib.GetTWetBulbFromHumRatio(15, value(w) - 0.0015 / flow, SEA_LEVEL) == pytest.approx(14.0, abs=0.15)


GRID = pl.DataFrame({"t": [-40.0 + 3 * i for i in range(31)]}).join(
    pl.DataFrame({"rh": [0.05, 0.3, 0.6, 0.95, 1.0]}).join(pl.DataFrame({"p": [70000.0, 101325.0]}), how="cross"),
    how="cross",
)


def test_same_as_the_reference_library():
    """Every expression equals psychrolib (the same ASHRAE equations, number by number) to 1e-9 from -40 to 50 degC."""
    t, w, p = "t", "w", "p"
    ours = GRID.with_columns(w=of_columns(air.humidity_ratio_from_relative_humidity, t, "rh", p)).with_columns(
        pws=of_columns(air.saturation_pressure, t),
        ws=of_columns(air.humidity_ratio_from_dew_point, t, p),
        h=of_columns(air.enthalpy, t, w),
        pv=of_columns(air.vapour_pressure, w, p),
        rh_again=of_columns(air.relative_humidity, t, w, p),
        density=of_columns(air.dry_air_density, t, w, p),
        atmosphere=of_columns(air.standard_pressure, pl.col("t") * 50),
    )
    ours = ours.with_columns(w_again=of_columns(air.humidity_ratio, pl.col("pv"), p))
    for r in ours.iter_rows(named=True):
        same = {
            "pws": psychrolib.GetSatVapPres(r["t"]),
            "w": psychrolib.GetHumRatioFromRelHum(r["t"], r["rh"], r["p"]),
            "ws": psychrolib.GetSatHumRatio(r["t"], r["p"]),
            "h": psychrolib.GetMoistAirEnthalpy(r["t"], r["w"]),
            "pv": psychrolib.GetVapPresFromHumRatio(r["w"], r["p"]),
            "w_again": psychrolib.GetHumRatioFromVapPres(r["pv"], r["p"]),
            "rh_again": psychrolib.GetRelHumFromHumRatio(r["t"], r["w"], r["p"]),
            "density": 1 / psychrolib.GetMoistAirVolume(r["t"], r["w"], r["p"]),
            "atmosphere": psychrolib.GetStandardAtmPressure(r["t"] * 50),
        }
        for name, theirs in same.items():
            assert r[name] == pytest.approx(theirs, rel=1e-9, abs=0), (name, r)


def test_wet_bulb_as_the_reference_library():
    """The grid's temperatures with wet-bulbs down to 12 K lower, as far as any humidity is left; over ice and over water."""
    drops = pl.DataFrame({"drop": [0.0, 0.5, 2.0, 6.0, 12.0]})
    at = GRID.select("t", "p").unique(maintain_order=True).join(drops, how="cross")
    at = at.with_columns(wet_bulb=pl.col("t") - pl.col("drop"))
    at = at.with_columns(w=of_columns(air.humidity_ratio_from_wet_bulb, pl.col("t"), pl.col("wet_bulb"), pl.col("p")))
    at = at.filter(pl.col("w") > 1e-6)
    assert (at["wet_bulb"] < 0).sum() > 20
    assert (at["wet_bulb"] >= 0).sum() > 100
    for r in at.iter_rows(named=True):
        theirs = psychrolib.GetHumRatioFromTWetBulb(r["t"], r["wet_bulb"], r["p"])
        assert r["w"] == pytest.approx(theirs, rel=1e-9, abs=0), r


def test_dew_and_frost_point_as_the_reference_library(monkeypatch):
    """Within 1e-6 K of psychrolib, whose own iteration is told to go on that far."""
    monkeypatch.setattr(psychrolib, "PSYCHROLIB_TOLERANCE", 1e-9)
    ours = GRID.with_columns(
        w=of_columns(air.humidity_ratio_from_relative_humidity, pl.col("t"), pl.col("rh"), pl.col("p"))
    ).with_columns(dew_point=air.dew_points(pl.col("w"), pl.col("p")))
    for r in ours.iter_rows(named=True):
        theirs = psychrolib.GetTDewPointFromHumRatio(r["t"], r["w"], r["p"])
        assert r["dew_point"] == pytest.approx(theirs, abs=1e-6), r


def test_over_water_is_the_same_above_freezing():
    above = GRID.filter(pl.col("t") > 0.01).select(
        a=of_columns(air.saturation_pressure, pl.col("t")),
        b=of_columns(air.saturation_pressure_over_water, pl.col("t")),
    )
    assert above["a"].to_list() == pytest.approx(above["b"].to_list(), rel=1e-12)


def test_magnus_helpers_keep_their_word():
    """The slope within 0.4 % of eq. 6's (central difference) and the guess within 0.3 K, 0-40 degC."""
    frame = pl.DataFrame({"t": [0.5 * i for i in range(81)]}).with_columns(
        slope=of_columns(air.saturation_log_slope, pl.col("t")),
        guess=of_columns(air.dew_point_guess, of_columns(air.saturation_pressure_over_water, "t")),
        difference=(
            of_columns(air.saturation_pressure_over_water, pl.col("t") + 0.01).log()
            - of_columns(air.saturation_pressure_over_water, pl.col("t") - 0.01).log()
        )
        / 0.02,
    )
    assert (frame["slope"] / frame["difference"] - 1).abs().max() < 0.004
    assert (frame["guess"] - frame["t"]).abs().max() < 0.3


@pytest.mark.parametrize("t", [-5, 0, 5, 15, 25, 35, 45, 50])
@pytest.mark.parametrize("rh", [0.2, 0.5, 0.9])
def test_real_gas_humidity_within_six_per_mille(t, rh):
    """CoolProp's humid air, an independent real-gas formulation: humidity ratio within 0.6 % from -5 to 50 degC, but for
    0.61 % at 50 degC and 90 %, beyond any weather."""
    real = HAPropsSI("W", "T", t + 273.15, "R", rh, "P", SEA_LEVEL)
    ours = value(air.humidity_ratio_from_relative_humidity(*lit(t, rh, SEA_LEVEL)))
    assert ours == pytest.approx(real, rel=0.0062 if (t, rh) == (50, 0.9) else 0.006)


def test_elevation_undoes_standard_pressure():
    assert value(air.elevation(air.standard_pressure(1609.0))) == pytest.approx(1609, abs=1e-6)
