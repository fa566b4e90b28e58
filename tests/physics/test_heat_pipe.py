"""The wrap-around heat pipe: its energy balance, a published trade case, and a site that reheats little."""

import polars as pl
import psychrolib
import pytest

from screener import climate
from screener.contracts.hour import COIL
from screener.formula import col
from screener.physics import cooling_coil, heat_pipe
from screener.physics import psychrometrics as air
from screener.worksheet import Worksheet
from tests.physics.coils import SEA_LEVEL, default_coil, humidity, states
from tests.physics.coils import run as plain

psychrolib.SetUnitSystem(psychrolib.SI)
SUMMER_OF_MIAMI = range(5, 11)  # near the year of San Juan: mean 27 degC, dew point 22 degC (from memory)


def celsius(f: float) -> float:
    return (f - 32) / 1.8


def trade_case() -> tuple[float, float]:
    """Mean cost an hour without and with the pipe [$], 10 000 cfm, half outdoor air, return 75 F / 50 %, supply 62 F at 53 F
    dew point, all year; fuel reheat at 70 %, 0.70 kW/ton, 0.15 $/kWh, 1.50 $/therm."""
    flow = 10_000 * 0.000471947 * 1.2  # kg/s of standard air
    t_room, t_coil, t_supply = celsius(75), celsius(53), celsius(62)
    w_room = psychrolib.GetHumRatioFromRelHum(t_room, 0.5, SEA_LEVEL)
    h_coil = psychrolib.GetMoistAirEnthalpy(t_coil, psychrolib.GetSatHumRatio(t_coil, SEA_LEVEL))
    hours = climate.hours(["722020"]).filter(pl.col("month").is_in(SUMMER_OF_MIAMI))
    t_mix = (hours["outdoor_c"] + t_room) / 2
    w_mix = (hours["outdoor_humidity_ratio"] + w_room) / 2
    h_mix = air.enthalpy(t_mix, w_mix)
    reheat = flow * air.CP_MOIST_AIR * (t_supply - t_coil)
    chilled = flow * (h_mix - h_coil)

    def cost(cooling_w: pl.Series, reheat_w: pl.Series, fan_w: float) -> float:
        electricity = (cooling_w / 3516.85 * 0.70 + fan_w / 1000) * 0.15
        fuel = reheat_w / 0.70 / 29_307.1 * 1.50
        return float(((electricity + fuel) * hours["weight_h"]).sum() / hours["weight_h"].sum())

    passed = pl.Series([heat_pipe.heat_w(heat_pipe.EFFECTIVENESS, flow, t, t_coil) for t in t_mix]).clip(0, reheat)
    fan = heat_pipe.FAN_W_L_S * 10_000 * 0.471947
    return cost(chilled, pl.repeat(reheat, hours.height, eager=True), 0.0), cost(chilled - passed, reheat - passed, fan)


def test_trade_case_san_juan():
    """Reported 36 % lower cost, ideal 48 %: accepted 30-48 % (trade literature)."""
    before, after = trade_case()
    print(f"{before:.2f} $/h without, {after:.2f} $/h with the pipe: {1 - after / before:.0%} lower")
    assert 0.30 <= 1 - after / before <= 0.48


@pytest.fixture(scope="module")
def both() -> tuple[pl.DataFrame, pl.DataFrame]:
    """The default coil without and with the pipe in the same air."""
    site = default_coil()
    states = pl.DataFrame({"t": [24.0, 22.0, 27.0, 24.0], "w": [humidity(24, rh) for rh in (0.5, 0.45, 0.6, 0.3)]})
    states = states.with_columns(outdoor=pl.Series([30.0, 20.0, 35.0, 30.0]))
    sheet = Worksheet()
    c = col
    heat_pipe.run(sheet, COIL, heat_pipe.EFFECTIVENESS, c("t"), c("w"), c("outdoor"), c("pressure_pa"))
    return plain(site, states), sheet.apply(site.lazy().join(states.lazy(), how="cross")).collect()


def test_effectiveness_is_what_was_asked(both):
    """Precooling over the difference between entering air and the air that leaves the coil, within 5 % of 0.45; the tangent
    that finds it is that of a wet coil, so it is 10 % where the coil is dry."""
    _, pipe = both
    w_out = pipe["w"] - pipe["moisture_kg_kg"]
    h_out = pipe["entering_j_kg"] - pipe["total_j_kg"]
    leaving = air.dry_bulb_from_enthalpy(h_out, w_out)
    effectiveness = (pipe["t"] - pipe["precooled_c"]) / (pipe["t"] - leaving)
    assert effectiveness[:3].to_list() == pytest.approx([heat_pipe.EFFECTIVENESS] * 3, rel=0.05)
    assert effectiveness[3] == pytest.approx(heat_pipe.EFFECTIVENESS, rel=0.10)


def test_more_water_for_less_sensible_duty(both):
    plain_coil, pipe = both
    damp = plain_coil["moisture_kg_kg"] > 1e-4
    assert (pipe["moisture_kg_s"] > plain_coil["moisture_kg_s"]).filter(damp).all()
    assert (pipe["sensible_w"] < plain_coil["sensible_w"]).all()


def test_no_pipe_is_the_plain_coil():
    site, c = default_coil(), col
    states = pl.DataFrame({"t": [24.0], "w": [humidity(24, 0.5)], "outdoor": [30.0]})
    sheet = Worksheet()
    heat_pipe.run(sheet, COIL, 0.0, c("t"), c("w"), c("outdoor"), c("pressure_pa"))
    without = sheet.apply(site.lazy().join(states.lazy(), how="cross")).collect()
    for name in ("total_w", "moisture_kg_s", "power_w"):
        assert without[name].item() == pytest.approx(plain(site, states)[name].item(), rel=1e-12)


@pytest.mark.parametrize(("effectiveness", "flow_share"), [(0.45, 1.0), (0.55, 1.0), (0.0, 0.7)])
def test_nothing_leaves_above_saturation(effectiveness, flow_share):
    """The line from damp air to the surface of the coil lies above the curve: what it would carry there as fog falls out, at the
    same enthalpy. Saturation by psychrolib; the pipe stays above the dew point."""
    site, sheet = default_coil(), Worksheet()
    if flow_share < 1:
        cooling_coil.at_flow(sheet, COIL, flow_share, SEA_LEVEL)
        site = site.drop(sheet.names(), strict=False).hstack(sheet.apply(site.lazy()).collect().select(sheet.names()))
        sheet = Worksheet()
    at = states([20.0, 22.2, 24.0, 27.0], [0.5, 0.65, 0.8, 0.9], [20.0, 27.0, 35.0]).with_columns(p=pl.lit(SEA_LEVEL))
    heat_pipe.run(sheet, COIL, effectiveness, col("t"), col("w"), col("outdoor"), SEA_LEVEL)
    fog = 0
    for row in sheet.apply(site.lazy().join(at.lazy(), how="cross")).collect().iter_rows(named=True):
        w_out = row["w"] - row["moisture_kg_s"] / row["supply_kg_s"]
        h_out = psychrolib.GetMoistAirEnthalpy(row["precooled_c"], row["w"]) - row["total_j_kg"]
        t_out = psychrolib.GetTDryBulbFromEnthalpyAndHumRatio(h_out, w_out)
        assert w_out <= psychrolib.GetSatHumRatio(t_out, SEA_LEVEL) * 1.0003
        assert row["w"] <= psychrolib.GetSatHumRatio(row["precooled_c"], SEA_LEVEL) * 1.003
        fog += row["fog_kg_kg"] > 0
    assert fog > 0
