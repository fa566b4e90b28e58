"""Outdoor-air units one hour after another: heat of their fans and the wheel's share of the air are in every balance."""

import polars as pl
import pytest

from screener import climate
from tests.engine_cases import STATIONS, filled, in_sequence, random_rows, sized
from tests.strategies.test_ventilation_heat_recovery import CP, TOLERANCE, leaks, term, worst

UNIT = "outdoor_air_dehumidifier"
FANS = {UNIT: 0.9, f"{UNIT}_with_recovery": 0.9 + 0.275}  # W per L/s that warm the air


@pytest.fixture(scope="module", params=FANS)
def worked(request) -> tuple[str, pl.DataFrame]:
    rows = [row | {"exhaust_share": (0.3, 0.6, 1.0)[i % 3]} for i, row in enumerate(random_rows(12, seed=15))]
    hours = climate.hours(sorted(STATIONS.values()))
    numbered = hours.with_columns(number=pl.int_range(pl.len()).over("weather_id", "month"))
    some = numbered.filter(pl.col("month").is_in([1, 7]) & (pl.col("number") < 48)).drop("number")
    frame = in_sequence(filled(rows), some, request.param)
    return request.param, frame.filter(pl.col(f"{request.param}.unavailable").is_null())


def behind(name: str, frame: pl.DataFrame) -> tuple[pl.Expr, pl.Expr, pl.Expr]:
    """Ventilation air [kg/s] and what is left of its differences from the space, by the definition of effectiveness."""
    c = pl.col
    turns = c(f"{name}.wheel.turns") * c("exhaust_share") if f"{name}.wheel.turns" in frame.columns else pl.lit(0.0)
    air = c("ventilation_kg_s") * c("ventilation_share") * c("open")
    return air, 1 - 0.75 * turns, 1 - 0.70 * turns


def test_moisture_balance_closes(worked):
    name, frame = worked
    c, (air, _, left) = pl.col, behind(name, frame)
    w = c("hour.humidity_ratio")
    terms = [
        (c("people_kg_s") * c("people_share") + c("process_kg_s") * c("process_moisture_share")) * c("open"),
        (air * left + leaks()) * (c("outdoor_humidity_ratio") - w),
        c("moisture_storage_kg_s") * (c("last_humidity_ratio") - w),
        -c("case_kg_s") * ((w - 0.0025) / (0.01027 - 0.0025)).clip(0.0, 1.2),
        *(-term(frame, step) for step in ("coil_kg_s", "condenses_kg_s", "device_kg_s")),
    ]
    assert worst(frame, terms, 1e-6) < TOLERANCE


def test_heat_balance_closes(worked):
    """Fans that run on through open hours are among the gains; while the site is closed the unit's heat has them."""
    name, frame = worked
    c, (air, left, _) = pl.col, behind(name, frame)
    t = c("hour.space_c")
    mass = c("mass_storage_w_k") * c("surface_w_k") / (c("mass_storage_w_k") + c("surface_w_k"))
    machines = c("lights_w") * c("lights_share") + c("equipment_w") * c("equipment_share")
    terms = [
        c("gain_closed_w") * (1 - c("open")),
        (c("people_w") * c("people_share") + machines) * c("open"),
        c("fan_w") * c("open") * (c("supply_fan") == "continuous"),
        FANS[name] * c("open") * c("ventilation_kg_s") / c("air_density_kg_m3") * 1000,
        c("aperture_m2") * c("irradiance_w_m2"),
        ((air * left + leaks()) * CP + c("envelope_w_k")) * (c("outdoor_c") - t),
        c("air_storage_w_k") * (c("last_c") - t) + mass * (c("last_mass_c") - t),
        -c("case_sensible_w"),
        *(term(frame, step) for step in ("reheat_w", "device_heat_w", "heating_w")),
        *(-term(frame, step) for step in ("coil_sensible_w", "unmet_cooling_w")),
    ]
    assert worst(frame, terms, 1.0) < TOLERANCE


def test_units_act_rest_and_turn_their_wheel(worked):
    """The hours drawn are hard enough: coils at work and at rest, wheels in dry hours and in damp ones."""
    name, frame = worked
    damp = frame.filter("damp")
    assert (damp[f"{name}.damp.works"]).sum() > 20
    assert (~damp[f"{name}.damp.works"]).sum() > 0
    if "recovery" in name:
        turns = pl.col(f"{name}.wheel.turns") > 0
        assert damp.filter(turns).height > 20
        assert frame.filter(~pl.col("damp"), turns).height > 20


def test_capacity_is_that_of_wheel_and_coil_together():
    """By which such units are rated: the same as without a wheel, at the same design hours."""
    one = sized(filled([{"building_type": "retail", "floor_area_m2": 2500.0}])).row(0, named=True)
    alone, behind_wheel = (one[f"{name}.device_capacity_l_day"] for name in FANS)
    assert behind_wheel == pytest.approx(alone, rel=0.1)
