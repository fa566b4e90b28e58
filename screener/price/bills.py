"""The bills of sites as a table: a row per site, strategy, month and carrier, in that order.

Made of the same months that the year's costs are summed from. A month's amounts are whole hundredths, rounded so that those of a
year add up to its costs: each is what the year has come to so far, less what it had come to a month before. When the highest
hour of a strategy lies is read from the hours before they are summed by class; `price`, which may have a ledger without them,
takes it from the run.
"""

from collections.abc import Sequence

import numpy as np
import polars as pl

from screener.calendar import DAY_KINDS
from screener.exact import CENT_DECIMALS, UNITS
from screener.price import segments
from screener.price.billing import MONTH, SITE, charges, strategies_of
from screener.price.layout import ENDLESS, Rates

CARRIERS = ("electricity", "fuel")
HOURS = 24
TODAY, BEST = "today", "best"
COLUMNS = ("energy_kwh", "peak_kw", "energy_cost", "demand_cost")
WHEN = ("peak_day_kind", "peak_hour")


def peak_times(ledger: pl.DataFrame, sites: pl.DataFrame) -> pl.DataFrame:
    """`site` (its row in `sites`), `month` and per strategy the time of its highest hour in the month, `<strategy>.time`: 24
    times the kind of day and the hour, the first of equal ones. `ledger`: hours of some sites, in their order."""
    numbered = sites.select("site_id").with_row_index(SITE).cast({SITE: pl.Int64})
    same = (
        ledger["site_id"]
        .rle()
        .struct.unnest()
        .join(numbered, left_on="value", right_on="site_id", maintain_order="left")
    )
    site = np.repeat(same[SITE].to_numpy(), same["len"].to_numpy())
    keys = pl.DataFrame({SITE: site, "month": ledger["month"].cast(pl.Int64)})
    begin = segments.starts(keys)
    rows = np.diff(np.append(begin, ledger.height))
    month_of = np.repeat(np.arange(len(begin)), rows)
    other = (ledger["day_kind"] == DAY_KINDS[1]).to_numpy()
    time = (other * HOURS + ledger["hour"].cast(pl.Int64).to_numpy()).astype(np.int16)
    found = {}
    for strategy in strategies_of(ledger):
        power = ledger[f"{strategy}.peak_kw"].fill_null(0.0).to_numpy()
        at = np.flatnonzero(power == np.repeat(np.maximum.reduceat(power, begin), rows))
        first = np.empty(len(begin), dtype=np.int16)
        first[month_of[at[::-1]]] = time[at[::-1]]
        found[f"{strategy}.time"] = first
    return keys[begin].with_columns(pl.DataFrame(found))


def table(
    months: pl.DataFrame, strategies: Sequence[str], sites: pl.DataFrame, times: pl.DataFrame | None
) -> pl.DataFrame:
    """The bills of `months` (`billing.months`), in the columns of their contract but for the charges; `times` are those of
    `peak_times`, None where nothing knows them."""
    first = segments.starts(months.select(SITE))
    costs = [f"{s}.{name}" for s in strategies for name in ("energy_cost", "demand_cost", "fuel_cost")]
    months = months.with_columns(_in_cents(months[name], first) for name in costs)
    if times is not None:
        months = months.join(times, on=MONTH, how="left", maintain_order="left")
    parts = []
    for number, strategy in enumerate(sorted(strategies)):
        of = {name: pl.col(f"{strategy}.{name}") for name in ("electricity_kwh", "fuel_kwh", "peak_kw")}
        of |= {name: pl.col(f"{strategy}.{name}") for name in ("energy_cost", "demand_cost", "fuel_cost")}
        nothing = pl.lit(None, pl.Float64)
        time = pl.lit(None, pl.Int16) if times is None else pl.col(f"{strategy}.time")
        key = (pl.col(SITE) * len(strategies) + number) * 24 + (pl.col("month") - 1) * 2
        electric = months.filter(of["electricity_kwh"].is_not_null()).select(
            SITE,
            "month",
            key.alias("key"),
            pl.lit(strategy).alias("strategy"),
            pl.lit(CARRIERS[0]).alias("carrier"),
            of["electricity_kwh"].alias("energy_kwh"),
            of["peak_kw"].cast(pl.Float64).alias("peak_kw"),
            of["energy_cost"].alias("energy_cost"),
            of["demand_cost"].alias("demand_cost"),
            (of["energy_cost"] + of["demand_cost"]).round(CENT_DECIMALS).alias("total"),
            time.alias("time"),
        )
        burnt = months.filter(of["fuel_kwh"] > 0).select(
            SITE,
            "month",
            (key + 1).alias("key"),
            pl.lit(strategy).alias("strategy"),
            pl.lit(CARRIERS[1]).alias("carrier"),
            of["fuel_kwh"].alias("energy_kwh"),
            nothing.alias("peak_kw"),
            of["fuel_cost"].alias("energy_cost"),
            nothing.alias("demand_cost"),
            of["fuel_cost"].alias("total"),
            pl.lit(None, pl.Int16).alias("time"),
        )
        parts += [electric, burnt]
    kinds = (
        pl.when(pl.col("time") >= HOURS).then(pl.lit(DAY_KINDS[1])).when(pl.col("time") >= 0).then(pl.lit(DAY_KINDS[0]))
    )
    return (
        pl.concat(parts)
        .sort("key")
        .select(
            pl.lit(sites["site_id"]).gather(pl.col(SITE)).alias("site_id"),
            "strategy",
            "month",
            "carrier",
            *COLUMNS[:2],
            kinds.alias("peak_day_kind"),
            (pl.col("time") % HOURS).cast(pl.Int64).alias("peak_hour"),
            *COLUMNS[2:],
            "total",
        )
    )


def _in_cents(amounts: pl.Series, first: segments.Starts) -> pl.Series:
    """Amounts by month in whole hundredths that add up to the rounded sum of each site, whose months begin at `first`."""
    exact = np.rint(amounts.fill_null(0.0).to_numpy() * UNITS).astype(np.int64)
    so_far = np.cumsum(exact)
    before = np.repeat(so_far[first] - exact[first], np.diff(np.append(first, len(exact))))
    rounded = pl.Series((so_far - before) / UNITS).round(CENT_DECIMALS).to_numpy()
    month_before = np.concatenate([[0.0], rounded[:-1]])
    month_before[first] = 0.0
    cents = pl.Series(amounts.name, rounded - month_before).round(CENT_DECIMALS)
    return pl.select(pl.when(amounts.is_not_null()).then(cents + 0.0).alias(amounts.name)).to_series()


def told(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """`site_id, strategy, month, carrier, charges`: the charges of today's and the best strategy in words.

    `sites`: site_id, tariff_id, current_strategy, best_strategy, annual_electricity_kwh.
    """
    roles = {TODAY: "current_strategy", BEST: "best_strategy"}
    chosen = _of_roles(ledger, sites, roles)
    renamed = sites.with_columns(current_strategy=pl.lit(TODAY))
    items = charges(chosen, rates, renamed)
    block = (
        pl.when(pl.col("up_to") == ENDLESS)
        .then(pl.when(pl.col("above") > 0).then(pl.concat_str(pl.lit(" above "), _figure("above"))))
        .otherwise(pl.concat_str(pl.lit(" "), _figure("above"), pl.lit(" to "), _figure("up_to")))
    )
    amount = pl.col("amount").round(2).cast(pl.String)
    text = pl.concat_str(pl.col("charge"), block.fill_null(""), pl.lit(": "), amount)
    words = items.group_by("site_id", "strategy", "month", "carrier", maintain_order=True).agg(
        charges=text.str.join("; ")
    )
    names = sites.select("site_id", **{role: pl.col(column) for role, column in roles.items()})
    named = words.join(names, on="site_id", maintain_order="left").with_columns(
        strategy=pl.when(pl.col("strategy") == TODAY).then(TODAY).otherwise(BEST)
    )
    return named.drop(TODAY, BEST).unique(
        ["site_id", "strategy", "month", "carrier"], keep="first", maintain_order=True
    )


def _figure(name: str) -> pl.Expr:
    return pl.col(name).round(2).cast(pl.String).str.strip_suffix(".0")


def _of_roles(ledger: pl.DataFrame, sites: pl.DataFrame, roles: dict[str, str]) -> pl.DataFrame:
    """The ledger with the columns of the strategy that each role has at the site, in place of those of all."""
    same = ledger["site_id"].rle().struct.unnest()
    of_site = same.join(sites, left_on="value", right_on="site_id", how="left", maintain_order="left")
    names = {column.partition(".")[2] for column in ledger.columns if "." in column}
    strategies = strategies_of(ledger)
    found = ledger.select(name for name in ledger.columns if "." not in name)
    for role, column in roles.items():
        which = np.repeat(
            of_site[column].replace_strict({s: i for i, s in enumerate(strategies)}, default=-1).to_numpy(),
            same["len"].to_numpy(),
        )
        for name in sorted(names):
            values = np.full(ledger.height, np.nan, dtype=np.float32)
            for number, strategy in enumerate(strategies):
                mine = which == number
                if mine.any():
                    values[mine] = ledger[f"{strategy}.{name}"].to_numpy()[mine]
            found = found.with_columns(pl.Series(f"{role}.{name}", values).fill_nan(None))
    return found
