"""Small frames for the tests of money: strategy totals, sites, investment prices and ledgers, written out by hand."""

from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from screener import contracts, price
from screener.economics import Terms, economics, investments, with_cases
from screener.ranking.holding import Tolerance, marked
from screener.ranking.reconciling import reconciled

DAY_KIND = pl.Enum(["working", "other"])
TOTALS = {  # a strategy that does nothing; tests name what differs
    "compressor_kwh": 0.0,
    "fans_kwh": 0.0,
    "dehumidifier_kwh": 0.0,
    "reheat_electricity_kwh": 0.0,
    "heating_electricity_kwh": 0.0,
    "reheat_fuel_kwh": 0.0,
    "regeneration_fuel_kwh": 0.0,
    "heating_fuel_kwh": 0.0,
    "electricity_kwh": 0.0,
    "fuel_kwh": 0.0,
    "dehumidification_kwh": 0.0,
    "dehumidification_electricity_kwh": 0.0,
    "dehumidification_fuel_kwh": 0.0,
    "standby_kwh": 0.0,
    "moisture_load_kg": 0.0,
    "water_by_coil_kg": 0.0,
    "water_by_device_kg": 0.0,
    "water_removed_kg": 0.0,
    "litres_per_kwh": 0.0,
    "hours_above_limit": 0.0,
    "hours_door_glass_fogged": None,
    "hours_frost_on_goods": None,
    "hours_above_90_rh": 0.0,
    "hours_in_fog": 0.0,
    "hours_cooling_not_met": 0.0,
    "cooling_not_met_kwh": 0.0,
    "dew_point_p95_c": 12.0,
    "dew_point_highest_c": 13.0,
    "refrigeration_saved_kwh": 0.0,
    "refrigeration_saved_high_kwh": 0.0,
    "anti_sweat_saved_kwh": 0.0,
    "peak_kw": 0.0,
    "device_capacity_l_day": 0.0,
    "device_capacity_pints_day": 0.0,
    "device_units": 1,
    "note": None,
    "energy_cost": 0.0,
    "demand_cost": 0.0,
    "fuel_cost": 0.0,
    "annual_cost": 0.0,
    "emissions_kg": 0.0,
}
SITE = {
    "name": None,
    "building_type": "retail",
    "climate_zone": "2A",
    "station": 722430,
    "tariff_id": "T1",
    "current_strategy": "overcool_electric_reheat",
    "floor_area_m2": 1000.0,
    "outdoor_air_l_s": 500.0,
    "cooling_capacity_kw": 100.0,
    "assumed_share": 0.5,
    "climate_note": None,
    "equipment_id": None,
    "figures_note": None,
    "row_note": None,
    "annual_electricity_kwh": None,
    "cooling_capacity_kw_origin": "given",
    "outdoor_air_l_s_origin": "given",
}
PRICES = {
    "candidate": True,
    "investment_fixed": 0.0,
    "investment_per_l_day": None,
    "investment_per_kw": None,
    "investment_per_l_s": None,
    "size_exponent": None,
    "price_at_size": None,
    "published_low": None,
    "published_high": None,
    "contains": None,
    "upkeep_per_year": None,
    "life_years": None,
    "incentive_share": None,
    "incentive_fixed": None,
    "note": None,
}
TYPES = {
    "unavailable": pl.String,
    "hours_door_glass_fogged": pl.Float64,
    "hours_frost_on_goods": pl.Float64,
    "name": pl.String,
    "note": pl.String,
    "climate_note": pl.String,
    "figures_note": pl.String,
    "row_note": pl.String,
    "annual_electricity_kwh": pl.Float64,
    "investment_per_l_day": pl.Float64,
    "investment_per_kw": pl.Float64,
    "investment_per_l_s": pl.Float64,
    "size_exponent": pl.Float64,
    "published_low": pl.Float64,
    "published_high": pl.Float64,
    "price_at_size": pl.Float64,
    "contains": pl.String,
    "upkeep_per_year": pl.Float64,
    "life_years": pl.Float64,
    "incentive_share": pl.Float64,
    "incentive_fixed": pl.Float64,
    "equipment_id": pl.String,
}


def _frame(rows: Iterable[Mapping[str, Any]]) -> pl.DataFrame:
    frame = pl.DataFrame(list(rows), infer_schema_length=None)
    return frame.cast({name: dtype for name, dtype in TYPES.items() if name in frame.columns})


def totals(*rows: Mapping[str, Any]) -> pl.DataFrame:
    """Totals with costs, one row per site and strategy; an annual cost that is given alone is one of energy."""
    costs = ({"energy_cost": row["annual_cost"]} if "annual_cost" in row else {} for row in rows)
    return _frame({"unavailable": None, **TOTALS, **cost, **row} for cost, row in zip(costs, rows, strict=True))


def sites(*rows: Mapping[str, Any]) -> pl.DataFrame:
    """Sites as used."""
    return _frame({**SITE, **row} for row in rows)


def prices(*rows: Mapping[str, Any]) -> pl.DataFrame:
    """The investment table."""
    return _frame({**PRICES, **row} for row in rows)


def contract_table(name: str, *rows: Mapping[str, Any]) -> pl.DataFrame:
    """Rows of a table in the columns and types of its contract; what a row does not name is null."""
    schema = contracts.load(name).polars_schema()
    return pl.DataFrame([dict.fromkeys(schema) | dict(row) for row in rows], schema=schema)


def rates(
    tariffs: pl.DataFrame,
    periods: pl.DataFrame | None = None,
    tiers: pl.DataFrame | None = None,
    **factors: float,
) -> price.Rates:
    """Rates of tariffs, which may lack columns, and of windows and tiers if there are any."""
    whole = contract_table("tariffs", *tariffs.to_dicts())
    periods = contract_table("tariff_periods") if periods is None else periods
    return price.rates(whole, periods, contract_table("tariff_tiers") if tiers is None else tiers, **factors)


def equipment(*rows: Mapping[str, Any]) -> pl.DataFrame:
    """The sites' own machines."""
    own = {"equipment_id": "E1", "strategy": "standalone_dehumidifier"}
    return contract_table("equipment", *(own | dict(row) for row in rows))


def offered(*rows: Mapping[str, Any]) -> pl.DataFrame:
    """Offers as they count at sites: a row per site_id and strategy."""
    schema = contracts.load("offers").polars_schema() | {"is_near": pl.Boolean}
    own: dict[str, Any] = {"offer_id": "O1", "is_near": False}
    return pl.DataFrame([dict.fromkeys(schema) | own | dict(row) for row in rows], schema=schema)


NO_OFFERS = offered()


def life_cycle(
    rows: pl.DataFrame,
    where: pl.DataFrame,
    table: pl.DataFrame,
    rate: float,
    years: int,
    *machines: Mapping[str, Any],
    offers: pl.DataFrame = NO_OFFERS,
    counted: bool = False,
) -> pl.DataFrame:
    """Strategy results at real rates without escalation."""
    invested = investments(rows, where, table, equipment(*machines), offers)
    return reconciled(marked(economics(with_cases(invested, counted), Terms(rate, years)), Tolerance()), where)


def ledger(strategies: Iterable[str], *rows: tuple[Any, ...]) -> pl.DataFrame:
    """A ledger from rows of site_id, month, day_kind, hour, hours and then kWh, fuel kWh and peak kW per strategy."""
    columns: dict[str, Any] = {
        "site_id": pl.String,
        "month": pl.Int8,
        "day_kind": DAY_KIND,
        "hour": pl.Int8,
        "hours": pl.Float32,
        "other_kw": pl.Float32,  # nothing
    }
    for strategy in strategies:
        columns |= {f"{strategy}.{name}": pl.Float32 for name in ("electricity_kwh", "fuel_kwh", "peak_kw")}
    return pl.DataFrame([(*row[:5], 0.0, *row[5:]) for row in rows], schema=columns, orient="row")
