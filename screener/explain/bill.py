"""What one hour costs: its energy at the prices of that hour. Demand charges belong to a month, not to an hour."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from screener import calendar, outputs, price, tables
from screener.contracts.end_uses import CARRIERS, powers_of
from screener.engine import MONTHLY


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


def of_year(run: outputs.RunFolder, site_id: str, strategy: str) -> pl.DataFrame:
    """The twelve bills of a site with a strategy: month, electricity_kwh, peak_kw and peak_at (when the air system draws it),
    meter_kw (null where it is not known), energy_cost, demand_cost, fuel_kwh, fuel_cost, total [currency], charges in words.
    Without rows where there is no money."""
    mine = pl.col("site_id") == site_id
    used, ledger = (run.table(name).filter(mine).collect() for name in ("sites_used", "ledger"))
    rates = price.rates(**tables.of_rates(run.input))
    if rates.months.is_empty():
        return pl.DataFrame()
    laid = price.lay_out(ledger, rates, used)
    times = None if run.info["ledger"] == MONTHLY else price.peak_times(ledger, used)
    rows = price.table(laid, price.months(laid), rates, used, [pl.Series([strategy])], times)
    electric, burnt = (rows.filter(pl.col("carrier") == carrier) for carrier in CARRIERS)
    when = pl.concat_str("peak_day_kind", pl.lit(" day, "), pl.col("peak_hour").cast(pl.String), pl.lit(" h"))
    fuel = burnt.select(
        "month",
        fuel_kwh="energy_kwh",
        fuel_cost="total",
        fuel_total="total",
        of_fuel=pl.concat_str(pl.lit("; "), "charges"),
    )
    months = electric.with_columns(peak_at=when).join(fuel, on="month", how="left", maintain_order="left")
    none_burnt = pl.col("fuel_kwh").is_null()
    return months.select(
        "month",
        pl.col("energy_kwh").alias("electricity_kwh"),
        *("peak_kw", "peak_at", "meter_kw", "energy_cost", "demand_cost"),
        pl.col("fuel_kwh").fill_null(0.0),
        pl.when(none_burnt).then(0.0).otherwise("fuel_cost").alias("fuel_cost"),
        (pl.col("total") + pl.when(none_burnt).then(0.0).otherwise("fuel_total")).round(2).alias("total"),
        pl.concat_str(pl.col("charges").fill_null(""), pl.col("of_fuel").fill_null("")).alias("charges"),
    )


def _electricity(rates: price.Rates, time: pl.DataFrame) -> float | None:
    """The price of a kilowatt-hour at a time; null where it hangs on the month's use."""
    held = rates.members.join(time, on=["tariff_id", "month", "class"], how="semi").join(rates.lines, on="line")
    energy = held.filter(pl.col("kind") == "energy")
    return None if energy.select(price.is_block().any()).item() else float(energy["price"].sum())
