"""Bills as a table: a row per site, strategy, month and carrier, in that order, and what each charge comes to.

Made of the same months that the year's costs are summed from. A month's amounts are whole hundredths, rounded so that those of a
year add up to its costs: each is what the year has come to so far, less what it had come to a month before. When the highest
hour of a strategy lies is read from the hours before they are summed by class; `price`, which may have a ledger without them,
takes it from the run.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from screener.calendar import DAY_KINDS
from screener.exact import CENT_DECIMALS, UNITS
from screener.price import segments
from screener.price.billing import (
    BILL,
    BY_DAY,
    COSTS,
    FUEL_PEAK,
    METER,
    MONTH,
    OTHER,
    SITE,
    LaidOut,
    bill,
    drawn,
    meter_kw,
    strategies_of,
)
from screener.price.items import FINE, Floats, Numbers
from screener.price.layout import ENDLESS, Rates

CARRIERS = ("electricity", "fuel")
HOURS = 24
WHEN = ("peak_day_kind", "peak_hour")
TAKEN = ("electricity_kwh", "fuel_kwh", "peak_kw", FUEL_PEAK, METER, BY_DAY)
OWN_FUEL, PERCENT, MINIMUM = "fuel", "per cent of the charges", "up to the minimum"


def peak_times(ledger: pl.DataFrame, sites: pl.DataFrame) -> pl.DataFrame:
    """`site` (its row in `sites`), `month` and per strategy the time of its highest hour in the month, `<strategy>.time`: 24
    times the kind of day and the hour, the first of equal ones. `ledger`: hours of some sites, in their order."""
    numbered = sites.select("site_id").with_row_index(SITE).cast({SITE: pl.Int64})
    same = ledger["site_id"].rle().struct.unnest()
    same = same.join(numbered, left_on="value", right_on="site_id", maintain_order="left")
    keys = pl.DataFrame(
        {SITE: np.repeat(same[SITE].to_numpy(), same["len"].to_numpy()), "month": ledger["month"].cast(pl.Int64)}
    )
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
    laid: LaidOut,
    months: pl.DataFrame,
    rates: Rates,
    sites: pl.DataFrame,
    roles: Sequence[pl.Series],
    times: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """The bills of some strategies of each site, in the columns of their contract.

    `laid`, `months`: of `billing`. `roles`: for each role the strategy that each of the `sites` has in it, null for none.
    `times`: of `peak_times`, None where nothing knows them.
    """
    site = months[SITE].to_numpy()
    parts = [_of_role(laid, months, rates, names.gather(site), times) for names in roles]
    rows = pl.concat(parts).with_columns(site_id=pl.lit(sites["site_id"]).gather(pl.col(SITE)))
    kinds = (
        pl.when(pl.col("time") >= HOURS).then(pl.lit(DAY_KINDS[1])).when(pl.col("time") >= 0).then(pl.lit(DAY_KINDS[0]))
    )
    whole = rows.with_columns(
        kinds.alias(WHEN[0]),
        (pl.col("time") % HOURS).cast(pl.Int64).alias(WHEN[1]),
        total=(pl.col("energy_cost") + pl.col("demand_cost").fill_null(0.0)).round(CENT_DECIMALS),
    )
    columns = ("site_id", "strategy", "month", "carrier", "energy_kwh", "peak_kw", *WHEN, METER)
    costs = ("energy_cost", "demand_cost", "total", "charges")
    return whole.sort(SITE, "strategy", "month", "carrier").select(*columns, *costs)


def _of_role(
    laid: LaidOut, months: pl.DataFrame, rates: Rates, names: pl.Series, times: pl.DataFrame | None
) -> pl.DataFrame:
    """The bills of one strategy of each site, that of each month in `names`."""
    strategies = strategies_of(laid.classes)
    which = names.replace_strict({s: i for i, s in enumerate(strategies)}, default=-1, return_dtype=pl.Int64).to_numpy()
    places = _places(strategies, which)
    amounts = {name: _chosen(months, name, places) for name in BILL}
    first = segments.starts(months.select(SITE))
    cents = {name: _in_cents(amounts[name], first) for name in COSTS}
    totals = {"electricity": amounts["energy_cost"] + amounts["demand_cost"], "fuel": amounts["fuel_cost"]}
    mine = _role_classes(laid, strategies, which)
    own = charges(mine, rates, "own", totals)
    words = {carrier: _in_words(told, months.height) for carrier, told in own.items()}
    known = months.select(MONTH).with_columns(strategy=names)
    if times is not None:
        beside = months.select(MONTH).join(times, on=MONTH, how="left", maintain_order="left")
        known = known.with_columns(time=pl.Series(_chosen(beside, "time", places)).fill_nan(None).cast(pl.Int16))
    else:
        known = known.with_columns(time=pl.lit(None, pl.Int16))
    electric = known.with_columns(
        carrier=pl.lit(CARRIERS[0]),
        energy_kwh=amounts["electricity_kwh"],
        peak_kw=amounts["peak_kw"],
        meter_kw=np.where(which >= 0, meter_kw(mine, "own"), np.nan),
        energy_cost=cents["energy_cost"],
        demand_cost=cents["demand_cost"],
        charges=words[CARRIERS[0]],
    )
    burnt = known.with_columns(
        carrier=pl.lit(CARRIERS[1]),
        energy_kwh=amounts["fuel_kwh"],
        peak_kw=pl.lit(None, pl.Float64),
        meter_kw=pl.lit(None, pl.Float64),
        energy_cost=cents["fuel_cost"],
        demand_cost=pl.lit(None, pl.Float64),
        charges=words[CARRIERS[1]],
        time=pl.lit(None, pl.Int16),
    )
    there = amounts["electricity_kwh"] == amounts["electricity_kwh"]
    rows = [electric.filter(there), burnt.filter(there & (amounts["fuel_kwh"] > 0))]
    return pl.concat(rows).with_columns(
        pl.col("energy_kwh", "peak_kw", METER, "energy_cost", "demand_cost").fill_nan(None)
    )


def _places(strategies: Sequence[str], which: Numbers) -> dict[str, Numbers]:
    """The rows whose own strategy each is, of those that are any row's. `which`: its number in each row, -1 for none."""
    found = {strategy: np.flatnonzero(which == number) for number, strategy in enumerate(strategies)}
    return {strategy: rows for strategy, rows in found.items() if len(rows)}


def _chosen(frame: pl.DataFrame, name: str, places: Mapping[str, Numbers]) -> Floats:
    """A column `<strategy>.<name>` of each row's own strategy; not a number where it has none."""
    found = np.full(frame.height, np.nan)
    for strategy, rows in places.items():
        found[rows] = frame[f"{strategy}.{name}"].to_numpy()[rows]
    return found


def _role_classes(laid: LaidOut, strategies: Sequence[str], which: Numbers) -> LaidOut:
    """The same months with the classes of each month's own strategy, as columns `own.<name>`."""
    of_rows = np.repeat(which, np.diff(np.append(laid.begin, laid.classes.height)))
    present = [name for name in TAKEN if f"{strategies[0]}.{name}" in laid.classes.columns]
    places = _places(strategies, of_rows)
    columns = {f"own.{name}": _chosen(laid.classes, name, places) for name in present}
    classes = pl.DataFrame(columns).with_columns(pl.all().fill_nan(None))
    rest = [laid.classes[OTHER]] if OTHER in laid.classes.columns else []
    return replace(laid, classes=classes.with_columns(rest))


def _in_cents(amounts: Floats, first: segments.Starts) -> Floats:
    """Amounts by month in whole hundredths that add up to the rounded sum of each site, whose months begin at `first`."""
    exact = np.rint(np.nan_to_num(amounts) * UNITS).astype(np.int64)
    so_far = np.cumsum(exact)
    before = np.repeat(so_far[first] - exact[first], np.diff(np.append(first, len(exact))))
    rounded = pl.Series((so_far - before) / UNITS).round(CENT_DECIMALS).to_numpy()
    month_before = np.concatenate([[0.0], rounded[:-1]])
    month_before[first] = 0.0
    cents = pl.Series(rounded - month_before).round(CENT_DECIMALS).to_numpy()
    return np.where(np.isnan(amounts), np.nan, cents + 0.0)


def charges(
    laid: LaidOut, rates: Rates, strategy: str, totals: Mapping[str, Floats] | None = None
) -> dict[str, pl.DataFrame]:
    """Of each carrier what the charges of a strategy come to: `at` (row of `laid.months`), `charge` (its name and block) and
    `amount` [currency], those that are nothing left out, by month. They add up to its bill, the `totals` of each carrier by
    month, which may be given."""
    used = drawn(laid, strategy)
    by_month = {name: laid.months[name].cast(pl.Float64).fill_null(0.0).to_numpy() for name in laid.months.columns[3:]}
    every = np.arange(laid.months.height)
    names = pl.concat([_names(rates), pl.Series([OWN_FUEL, PERCENT, MINIMUM])])
    own_fuel, percent_of, minimum = (np.full(len(every), rates.lines.height + place) for place in range(3))
    found: dict[str, list[tuple[Numbers, Numbers, Floats]]] = {carrier: [] for carrier in CARRIERS}
    for part in laid.items.parts:
        found[part.carrier].append((part.months, part.lines, part.amounts(used) / FINE))
    found["fuel"].append((every, own_fuel, used.month_fuel_kwh * by_month["fuel_price_per_kwh"]))
    if totals is None:
        total = bill(laid, strategy)
        totals = {"electricity": total["energy_cost"] + total["demand_cost"], "fuel": total["fuel_cost"]}
    told = {}
    for carrier, listed in found.items():
        sums = sum((np.bincount(at, amount, len(every)) for at, _, amount in listed), np.zeros(len(every)))
        percent = sums * by_month[f"{carrier}_percent"] / 100
        rest = np.nan_to_num(totals[carrier] - sums - percent)
        listed += [(every, percent_of, percent), (every, minimum, np.where(np.abs(rest) < 0.005, 0.0, rest))]
        kept = [np.abs(amount) >= 0.005 for _, _, amount in listed]
        at, code, amount = (
            np.concatenate([each[place][keep] for each, keep in zip(listed, kept, strict=True)]) for place in range(3)
        )
        order = np.argsort(at, kind="stable")
        told[carrier] = pl.DataFrame({"at": at[order], "charge": names.gather(code[order]), "amount": amount[order]})
    return told


def _in_words(told: pl.DataFrame, months: int) -> pl.Series:
    """The charges of every month in a text; `told` as `charges` has them, sorted by month."""
    amount = pl.col("amount").round(CENT_DECIMALS).cast(pl.String)
    lines = told.select(pl.col("at").set_sorted(), text=pl.concat_str("charge", pl.lit(": "), amount))
    joined = lines.group_by("at", maintain_order=True).agg(pl.col("text").str.join("; "))
    found = np.full(months, joined.height)
    found[joined["at"].to_numpy()] = np.arange(joined.height)
    return pl.concat([joined["text"], pl.Series([None], dtype=pl.String)]).gather(found)


def _names(rates: Rates) -> pl.Series:
    """The charge of each line with its block."""
    demand = pl.when(pl.col("kind").str.contains("demand")).then(pl.lit(" kW")).otherwise(pl.lit(" kWh"))
    unit = pl.when("per_kw").then(pl.lit(" kWh/kW")).otherwise(demand)
    begin, end = (pl.col(name).round(2).cast(pl.String).str.strip_suffix(".0") for name in ("above", "up_to"))
    endless = pl.col("up_to") == ENDLESS
    block = (
        pl.when(~endless)
        .then(pl.concat_str(pl.lit(" "), begin, pl.lit(" to "), end, unit))
        .when(pl.col("above") > 0)
        .then(pl.concat_str(pl.lit(" above "), begin, unit))
        .otherwise(pl.lit(""))
    )
    return rates.lines.select(pl.concat_str("charge", block)).to_series()
