"""Energy by site, strategy, month, day kind, hour and end use: the ledger and the accounts, from the sums over the hours.

The ledger keeps what pricing needs, so a new tariff never needs the engine again: per site, month, day kind and hour
each strategy's electricity, fuel and highest power. The totals keep the year's account of each site and strategy.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.calendar import SLOTS, of_slot
from screener.contracts.end_uses import ENERGIES_KWH, energies_of
from screener.exact import added_up, grained
from screener.ledger.tallies import CASES, COMFORT, WATER
from screener.physics import psychrometrics as air
from screener.physics import refrigeration
from screener.units import PINT_L
from screener.worksheet.hours import Sums

BY_SLOT = ("electricity_kwh", "fuel_kwh", "peak_kw")
FUEL_PEAK = "fuel_peak_kw"  # kept where a tariff asks for it
RESIDUE_KWH = 1e-7  # a year of balances that close to the last bits
REACHED = ("dew_point_p95_c", "dew_point_highest_c")


@dataclass(frozen=True)
class Accounts:
    """A batch: `ledger` as its contract says, and the `years` of its sites, those of each strategy side by side."""

    ledger: pl.DataFrame
    years: pl.DataFrame


def accumulate(
    sums: Mapping[str, Sums], sites: pl.DataFrame, strategies: Sequence[str], fuel_peaks: bool = False
) -> Accounts:
    """The accounts of a batch of sites from each strategy's sums over their hours, `finished` by `dampest`. With `fuel_peaks`
    the ledger has the highest hour of fuel too.

    `sites`, in the order of the sums: site_id, pressure_pa, saturated_at_cooling, case_electricity_w, lengths of cases and per
    strategy `<strategy>.unavailable` (reason or null), `.device_capacity_l_day`, `.device_units` and `.note`,
    null where there is none.
    """
    kept = (*BY_SLOT, FUEL_PEAK) if fuel_peaks else BY_SLOT
    ledger = _ledger({s: sums[s].slots for s in strategies}, sites, strategies, kept)
    nothing = dict.fromkeys((*ENERGIES_KWH, *WATER), np.zeros(sites.height))
    figures = {
        f"{s}.{name}": values
        for s in strategies
        for name, values in (nothing | sums[s].years | {"p95": sums[s].finished}).items()
    }
    peaks = ledger.group_by("site_id").agg(pl.col(f"{s}.peak_kw").max().cast(pl.Float64) for s in strategies)
    years = sites.with_columns(pl.Series(name, values) for name, values in figures.items())
    return Accounts(ledger, years.join(peaks, on="site_id", maintain_order="left"))


def totals(years: pl.DataFrame, strategies: Sequence[str], reference: str) -> pl.DataFrame:
    """The year's account of each site and strategy, one row each, from the sums of all batches."""
    long = pl.concat([_of_strategy(years, s, reference) for s in strategies])
    dew_points = {name: air.dew_points(pl.col(name), pl.col("pressure_pa")) for name in REACHED}
    return long.with_columns(**dew_points).sort("site", maintain_order=True).drop("site", "pressure_pa")


def peaks(ledger: pl.LazyFrame, strategies: Sequence[str]) -> pl.DataFrame:
    """The hour of each strategy's highest power in a ledger, the earliest of equal ones.

    One row per strategy: strategy, month, day_kind, hour, peak_kw.
    """
    when = ["month", "day_kind", "hour"]
    rows = [
        ledger.sort(f"{s}.peak_kw", *when, descending=[True, False, False, False], nulls_last=True)
        .head(1)
        .select(pl.lit(s).alias("strategy"), *when, pl.col(f"{s}.peak_kw").cast(pl.Float64).alias("peak_kw"))
        for s in strategies
    ]
    return pl.concat(rows).collect()


def _ledger(
    sums: Mapping[str, Mapping[str, NDArray[np.float64]]],
    sites: pl.DataFrame,
    strategies: Sequence[str],
    kept: Sequence[str],
) -> pl.DataFrame:
    there = {f"{s}.there": pl.col(f"{s}.unavailable").is_null() for s in strategies}
    each = sites.select("site_id", **there)[np.repeat(np.arange(sites.height, dtype=np.uint32), SLOTS)]
    slots = each.with_columns(
        pl.Series("slot", np.tile(np.arange(SLOTS, dtype=np.int16), sites.height)),
        pl.Series("hours", sums[strategies[0]]["hours"].ravel()),
        *(
            pl.Series(f"{s}.{name}", sums[s][name].ravel() if name in sums[s] else np.zeros(SLOTS * sites.height))
            for s in strategies
            for name in kept
        ),
    )
    if slots["hours"].min() == 0:  # a file without some of them
        slots = slots.filter(pl.col("hours") > 0)
    columns = [
        pl.when(f"{s}.there")
        .then(pl.col(f"{s}.{name}") if name in ("peak_kw", FUEL_PEAK) else grained(pl.col(f"{s}.{name}")))
        .cast(pl.Float32)
        .alias(f"{s}.{name}")
        for s in strategies
        for name in kept
    ]
    return slots.select("site_id", *of_slot(pl.col("slot")), pl.col("hours").cast(pl.Float32), *columns)


def _of_strategy(years: pl.DataFrame, strategy: str, reference: str) -> pl.DataFrame:
    """One strategy's account; litres per kWh counts water and energy beyond the reference's."""

    def sums(name: str) -> list[pl.Expr]:
        return [
            added_up(pl.col(f"{name}.{part}") for part in parts)
            for parts in (energies_of("electricity"), energies_of("fuel"), WATER)
        ]

    (electricity, fuel, water), (base_electricity, base_fuel, base_water) = sums(strategy), sums(reference)
    extra_water = water - base_water
    extra_energy = (electricity - base_electricity) + (fuel - base_fuel)
    drier_h = pl.col(f"{reference}.humidity_h") - pl.col(f"{strategy}.humidity_h")
    drier_pct_h = 100 * drier_h / pl.col("saturated_at_cooling")
    cases = pl.col("case_electricity_w") / 1000 * drier_pct_h
    values = {
        name: pl.col(f"{strategy}.{name}") for name in (*ENERGIES_KWH, *WATER, *COMFORT, "hours_above_limit", "peak_kw")
    } | {
        "electricity_kwh": electricity,
        "fuel_kwh": fuel,
        "dehumidification_kwh": extra_energy,
        "dehumidification_electricity_kwh": electricity - base_electricity,
        "dehumidification_fuel_kwh": fuel - base_fuel,
        "standby_kwh": pl.col(f"{strategy}.standby_kwh"),
        "water_removed_kg": water,
        "litres_per_kwh": pl.when((extra_energy > 0) & (extra_water > 0)).then(extra_water / extra_energy),
        "dew_point_p95_c": pl.col(f"{strategy}.p95"),  # as humidity ratios until all strategies are together
        "dew_point_highest_c": pl.col(f"{strategy}.most_humidity_ratio"),
        "refrigeration_saved_kwh": cases * refrigeration.ENERGY_PER_RH_PCT,
        "refrigeration_saved_high_kwh": cases * refrigeration.ENERGY_PER_RH_PCT_HIGH,
        "anti_sweat_saved_kwh": cases * refrigeration.ANTI_SWEAT_PER_RH_PCT,
        "device_capacity_l_day": pl.col(f"{strategy}.device_capacity_l_day"),
        "device_capacity_pints_day": pl.col(f"{strategy}.device_capacity_l_day") / PINT_L,
        "device_units": pl.col(f"{strategy}.device_units").cast(pl.Int64),
        "note": pl.col(f"{strategy}.note").cast(pl.String),
    }
    values |= {name: pl.when(pl.col(cases) > 0).then(f"{strategy}.{name}") for name, (_, cases) in CASES.items()}
    unmet = values["cooling_not_met_kwh"]
    values["cooling_not_met_kwh"] = pl.when(unmet > RESIDUE_KWH).then(unmet).otherwise(0.0 * unmet)
    available = pl.col(f"{strategy}.unavailable").is_null()
    return years.select(
        "site",
        "pressure_pa",
        "site_id",
        pl.lit(strategy).alias("strategy"),
        pl.col(f"{strategy}.unavailable").cast(pl.String).alias("unavailable"),
        pl.col(f"{reference}.moisture_load_kg").alias("moisture_load_kg"),
        *(pl.when(available).then(value).alias(name) for name, value in values.items()),
    )
