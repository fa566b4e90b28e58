"""What one hour costs: its energy at the prices of that hour. Demand charges belong to a month, not to an hour."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from screener import calendar, outputs, price, tables
from screener.contracts.end_uses import CARRIERS, powers_of


def bill(run: outputs.RunFolder, tariff_id: str, hour: pl.DataFrame, power_w: Mapping[str, float]) -> dict[str, Any]:
    """Energy [kWh], prices and cost [currency] of an hour (one row: month, day_of_week, hour).

    `power_w`: what it draws, by field of an hour.

    The price of electricity is null, and so its cost, where blocks of the month's use bill it.
    """
    when = hour.select("month", "day_of_week", "hour").row(0, named=True)
    kind = calendar.DAY_KINDS[when["day_of_week"] >= calendar.WORKING_DAYS]
    rates = price.rates(**tables.of_rates(run.input))
    mine = pl.col("tariff_id") == tariff_id
    at = (pl.col("month") == when["month"]) & (pl.col("day_kind") == kind) & (pl.col("hour") == when["hour"])
    billed = _electricity(rates, rates.times.filter(mine & at))
    fuel = rates.months.filter(mine & (pl.col("month") == when["month"]))["fuel_price_per_kwh"].item()
    used = {carrier: sum(power_w[power] for power in powers_of(carrier)) / 1000 for carrier in CARRIERS}
    told: dict[str, Any] = {"tariff": tariff_id, "day_kind": kind}
    for carrier, per_kwh in (("electricity", billed), ("fuel", fuel)):
        cost = None if per_kwh is None else used[carrier] * per_kwh
        told |= {f"{carrier}_kwh": used[carrier], f"{carrier}_price_per_kwh": per_kwh, f"{carrier}_cost": cost}
    return told


def _electricity(rates: price.Rates, time: pl.DataFrame) -> float | None:
    """The price of a kilowatt-hour at a time; null where it hangs on the month's use."""
    held = rates.members.join(time, on=["tariff_id", "month", "class"], how="semi").join(rates.lines, on="line")
    energy = held.filter(pl.col("kind") == "energy")
    return None if energy.select(price.is_block().any()).item() else float(energy["price"].sum())
