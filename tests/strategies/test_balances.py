"""Moisture and heat balances of hours of every strategy that leaves the ventilation air as it is, written out once more from the
definition of the gains."""

import polars as pl
import pytest

from screener import climate
from screener.strategies import REFERENCE, TOGETHER
from tests.engine_cases import STATIONS, filled, random_rows, worked_hours

CP = 1006.0 + 1860.0 * 0.010
TOLERANCE = 1e-9
SITES = 110
EACH = 5  # hour of the year: all hours of the day and all weathers come up, in a fifth of the memory


@pytest.fixture(scope="module")
def worked() -> tuple[pl.DataFrame, pl.DataFrame]:
    hours = climate.hours(sorted(STATIONS.values())).gather_every(EACH)
    return worked_hours(filled(random_rows(SITES)), hours)


def hours_of(worked: tuple[pl.DataFrame, pl.DataFrame], strategy: str) -> pl.DataFrame:
    every, damp = worked
    frame = every if strategy == REFERENCE.name else damp
    there = frame.filter(pl.col(f"{strategy}.unavailable").is_null())
    if there.is_empty():
        pytest.skip(f"no site here can have {strategy}: its own test shows one that can")
    return there


def term(frame: pl.DataFrame, strategy: str, name: str) -> pl.Expr:
    column = f"{strategy}.{name}"
    return pl.col(column) if column in frame.columns else pl.lit(0.0)


def worst(frame: pl.DataFrame, terms: list[pl.Expr], least: float) -> float:
    """Largest sum of the terms over the largest of them."""
    size = pl.max_horizontal([t.abs() for t in terms] + [pl.lit(least)])
    return frame.select(pl.sum_horizontal(terms).abs() / size).to_series().max()


def outdoor_air(is_open: pl.Expr, closed: pl.Expr, opened: pl.Expr) -> pl.Expr:
    """Ventilation, and infiltration or what hoods draw beyond both."""
    ventilation = pl.col("ventilation_kg_s") * pl.col("ventilation_share") * is_open
    hoods = pl.col("hood_exhaust_kg_s") * pl.col("process_moisture_share") * is_open
    return pl.max_horizontal(ventilation + closed * (1 - is_open) + opened * is_open, hoods)


@pytest.mark.parametrize("strategy", TOGETHER)
def test_moisture_balance_closes(worked, strategy):
    """People, processes and outdoor air bring what cases, coil and device take at the humidity reached."""
    frame = hours_of(worked, strategy)
    w = pl.col(f"{strategy}.humidity_ratio")
    is_open = pl.col("open")
    closed, opened = pl.col("infiltration_closed_kg_s"), pl.col("infiltration_open_kg_s")
    air = outdoor_air(is_open, closed, opened)
    cases = pl.col("case_kg_s") * ((w - 0.0025) / (0.01027 - 0.0025)).clip(0.0, 1.2)
    terms = [
        pl.col("people_kg_s") * pl.col("people_share") * is_open,
        pl.col("process_kg_s") * pl.col("process_moisture_share") * is_open,
        air * pl.col("outdoor_humidity_ratio"),
        -air * w,
        -cases,
        -term(frame, strategy, "coil_kg_s"),
        -term(frame, strategy, "condenses_kg_s"),
        -term(frame, strategy, "device_kg_s"),
    ]
    assert worst(frame, terms, 1e-9) < TOLERANCE


@pytest.mark.parametrize("strategy", TOGETHER)
def test_heat_balance_closes(worked, strategy):
    """Gains at the temperature reached, reheat, device heat and heating equal the cooling, less what was not met."""
    frame = hours_of(worked, strategy)
    t, is_open = pl.col(f"{strategy}.space_c"), pl.col("open")
    closed, opened = pl.col("infiltration_closed_kg_s"), pl.col("infiltration_open_kg_s")
    air = outdoor_air(is_open, closed, opened)
    terms = [
        pl.col("gain_closed_w") * (1 - is_open),
        pl.col("people_w") * pl.col("people_share") * is_open,
        pl.col("lights_w") * pl.col("lights_share") * is_open,
        pl.col("equipment_w") * pl.col("equipment_share") * is_open,
        pl.col("fan_w") * is_open * (pl.col("supply_fan") == "continuous"),
        pl.col("aperture_m2") * pl.col("irradiance_w_m2"),
        (pl.col("envelope_w_k") + air * CP) * pl.col("outdoor_c"),
        -(pl.col("envelope_w_k") + air * CP) * t,
        -pl.col("case_sensible_w"),
        term(frame, strategy, "reheat_w"),
        term(frame, strategy, "device_heat_w"),
        term(frame, strategy, "heating_w"),
        -term(frame, strategy, "coil_sensible_w"),
        -term(frame, strategy, "unmet_cooling_w"),
    ]
    assert worst(frame, terms, 1e-3) < TOLERANCE


@pytest.mark.parametrize("strategy", TOGETHER)
def test_hours_stay_within_reason(worked, strategy):
    frame = hours_of(worked, strategy)
    t = pl.col(f"{strategy}.space_c")
    within = frame.select(
        (t <= pl.col("cooling_setpoint_c") + 1e-6).all() & (t >= pl.col("heating_setpoint_c") - 1e-6).all()
    ).item()
    assert within
    fog = pl.col("saturated_at_cooling") * (1 + 1e-9)
    assert frame.select((pl.col(f"{strategy}.humidity_ratio") <= fog).all()).item()
    powers = [c for c in frame.columns if c.startswith(f"{strategy}.") and c.count(".") == 1 and c.endswith("_w")]
    for column in powers:
        if not column.endswith("device_heat_w"):
            assert frame[column].min() >= -1e-6, column


@pytest.mark.parametrize("strategy", [s for s in TOGETHER if s != REFERENCE.name])
def test_no_strategy_leaves_the_space_damper_than_none(worked, strategy):
    frame = hours_of(worked, strategy)
    ratio = frame[f"{strategy}.humidity_ratio"] / frame["temperature_only.humidity_ratio"]
    assert ratio.max() < 1 + 1e-4
    assert frame[f"{strategy}.humidity_ratio"].min() > 0


def test_devices_take_water_and_never_give_it(worked):
    every, _ = worked
    for column in (
        "standalone_dehumidifier.most_kg_s_at_cooling",
        "standalone_dehumidifier.most_kg_s_at_heating",
        "desiccant_fuel_regenerated.most_kg_s",
        "outdoor_air_dehumidifier.device_capacity_l_day",
    ):
        assert every[column].min() >= 0, column


def test_overcooled_space_is_where_the_coil_was_solved(worked):
    """The coil is solved at the temperature the space ends at: within 0.9 K in 99 hours of a hundred (0.81 K measured;
    0.6 K where one unit is all the plant, whose water is a broken line of the run fraction in two pieces)."""
    _, damp = worked
    runs = damp.filter(pl.col("overcooling.helps") & (pl.col("overcooling.run_fraction") < 1))
    apart = (runs["overcooling.drift_c"] - runs["overcool_electric_reheat.space_c"]).abs()
    assert apart.quantile(0.99) < 0.9


def test_the_cases_drawn_are_hard_enough(worked):
    """Damp hours, hours beyond the coil's capacity, hours that need heat: all are among them."""
    every, damp = worked
    assert damp.height > 10_000
    assert (damp["temperature_only.unmet_cooling_w"] > 0).any()
    assert (damp["overcooling.run_fraction"] == 1).any()
    assert (damp["temperature_only.heating_w"] > 0).any()
    assert (every["open"] == 0).any()
