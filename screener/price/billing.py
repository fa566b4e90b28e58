"""A bill per site, strategy and month, and the year as the sum of its bills.

The ledger's hours are summed by the classes of `layout` first: what follows works on a few rows a month. All sums are
exact (the energies of a ledger are `exact.grained`), so that a bill is the same whatever order the hours come in, and
however finely the ledger keeps them. Until the end strategies stand side by side, each with its columns
`<strategy>.<amount>`: that is how the ledger has them, and a twelfth of the rows. Rows are kept in the order of sites and
months, so that whatever is added up lies together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from screener import calendar
from screener.calendar import TIME
from screener.errors import FAULT_SCHEMA, ContractError
from screener.exact import UNITS, added_up, money, whole
from screener.price import segments
from screener.price.items import FINE, Drawn, Floats, Items
from screener.price.layout import DAILY, Rates

ELECTRICITY = ".electricity_kwh"
FUEL_PEAK = "fuel_peak_kw"
OTHER, METER, BY_DAY = "other_kw", "meter_kw", "daily_kw"
DAY_BEYOND_MEAN = 0.1
"""A day's highest hour over the mean of that hour of the day, as a share of what the month's highest is over it: between 0.03 and
0.18 at five sites of four types worked out hour by hour, where with this one the year's sum is 3 % off at most."""
COSTS = ("energy_cost", "demand_cost", "fuel_cost")
"""Parts of a bill, per year in the portfolio's currency; they add up to `annual_cost`."""
BILLED = ("billed_electricity_kwh", "billed_fuel_kwh")
"""The energy that was billed, to be compared with what the engine worked out."""
ENERGY = ("electricity_kwh", "fuel_kwh")
BILL = ("electricity_kwh", "energy_cost", "peak_kw", "demand_cost", "fuel_kwh", "fuel_cost", "emissions_kg")
SITE = "site"  # its row in the table of sites: what is added up goes by numbers, which cost less than names
MONTH = (SITE, "month")
CLASS = ("tariff_id", "month", "class")


def price(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """Annual money and emissions of every site and strategy of the ledger.

    `ledger`: site_id, month (1-12), day_kind, hour (0-23) and per strategy `<strategy>.electricity_kwh`,
    `<strategy>.fuel_kwh`, `<strategy>.peak_kw`; `other_kw` where demand is the meter's. `sites`: site_id, tariff_id and,
    for tariffs with blocks, current_strategy and annual_electricity_kwh of the whole site (null: what is typical, by
    typical_electricity_kwh_m2 and floor_area_m2; without those only the air system is counted).

    Returns one row per site_id and strategy, sorted: energy_cost, demand_cost, fuel_cost, annual_cost [currency/yr,
    whole hundredths], emissions_kg [kg CO2/yr], billed_electricity_kwh, billed_fuel_kwh. All null where the ledger
    holds nothing for the strategy at the site; costs null where the tariff lacks the price of a fuel that is used,
    emissions null where it lacks a factor. ContractError where a site's tariff is missing.
    """
    return years(months(lay_out(ledger, rates, sites)), strategies_of(ledger), sites)


def years(months: pl.DataFrame, strategies: Sequence[str], sites: pl.DataFrame) -> pl.DataFrame:
    """The years of `months`: what `price` returns."""
    strategies = sorted(strategies)
    amounts = (*COSTS, "emissions_kg", *ENERGY)
    return (
        _long(_years(months, strategies), strategies, (SITE,), amounts)
        .rename(dict(zip(ENERGY, BILLED, strict=True)))
        .with_columns(annual_cost=money(added_up(pl.col(part) for part in COSTS)))
        .select(_named("site_id", sites), "strategy", *COSTS, "annual_cost", "emissions_kg", *BILLED)
        .sort("site_id", maintain_order=True)
    )


def bills(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame, in_order: bool = False) -> pl.DataFrame:
    """One row per site_id, strategy and month: electricity_kwh, energy_cost, peak_kw, demand_cost, fuel_kwh, fuel_cost
    [currency] and emissions_kg. Arguments and errors as for `price`; `in_order`: the rows are the hours of the year one after
    another, and fill blocks in that order."""
    long = _long(months(lay_out(ledger, rates, sites, in_order)), strategies_of(ledger), MONTH, BILL)
    return long.select(_named("site_id", sites), _named("tariff_id", sites), "month", "strategy", *BILL)


def by_class(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """A ledger of fewer rows that bills the same: of each month's hours that the site's tariff bills alike, one row,
    under the first of them. Arguments as for `price`."""
    first = rates.times.unique(CLASS, keep="first", maintain_order=True)
    rows = _by_class(ledger, rates, sites).join(first, on=CLASS, how="left").with_columns(_named("site_id", sites))
    times = [pl.col(name).cast(ledger.schema[name]) for name in TIME]
    further = _meters(ledger) | _dailies(ledger, rates)
    columns = [*ledger.columns, *(name for name in further if name not in ledger.columns)]
    return rows.with_columns(times).select(columns).sort("site_id", *TIME)


def strategies_of(ledger: pl.DataFrame) -> list[str]:
    """Names of the strategies that have columns in the ledger, in the ledger's order."""
    return [name.removesuffix(ELECTRICITY) for name in ledger.columns if name.endswith(ELECTRICITY)]


def unbilled(totals: pl.DataFrame, costs: pl.DataFrame, tolerance: float = 1e-5) -> pl.DataFrame:
    """Rows of `totals` whose energy differs from what `costs` billed; empty when nothing went missing on the way.

    `tolerance` is relative: the ledger keeps 32-bit floats, good for about 1e-7, of amounts to the nearest 1/65536 kWh,
    which over all slots makes 0.0044 kWh at worst.
    """
    both = totals.select("site_id", "strategy", "electricity_kwh", "fuel_kwh").join(costs, on=["site_id", "strategy"])
    apart = [
        (pl.col(name) - pl.col(f"billed_{name}")).abs() > tolerance * pl.col(name).abs() + 0.005
        for name in ("electricity_kwh", "fuel_kwh")
    ]
    return both.filter(pl.any_horizontal(apart))


def _by_class(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """The ledger summed by `site` (its row in `sites`), month and class, in their order: with tariff_id, hours and the
    energies and peaks of every strategy; a peak is null where the strategy is not there."""
    require_tariffs(rates, sites)
    billed = _billed(ledger, rates, sites)
    there = billed["class"] >= 0
    if not there.all():
        ledger, billed = ledger.filter(there), billed.filter(there)
    key = billed.select(key=(pl.col(SITE) * 12 + pl.col("month")) * calendar.SLOTS + pl.col("class"))
    if not key["key"].is_sorted():
        order = key["key"].arg_sort()
        ledger, billed, key = ledger[order], billed[order], key[order]
    begin, strategies = segments.starts(key), strategies_of(ledger)
    energies = [f"{strategy}.{carrier}_kwh" for strategy in strategies for carrier in ("electricity", "fuel")]
    sums = segments.totals(ledger.select(whole(pl.col("hours")), *energies), begin)  # exact: energies are grained
    highest = [pl.col(f"{s}.peak_kw") for s in strategies]
    highest += [pl.col(name) for name in ledger.columns if name.endswith(f".{FUEL_PEAK}")]
    highest += [pl.col(OTHER)] if OTHER in ledger.columns else []
    peaks = segments.highest(ledger.select(*highest, **_meters(ledger), **_dailies(ledger, rates)), begin)
    summed = [
        billed[begin].cast({"class": pl.UInt32}),
        sums.with_columns(pl.col("hours") / UNITS),
        peaks.cast(pl.Float64),
    ]
    return pl.concat(summed, how="horizontal").with_columns(_named("tariff_id", sites))


def _meters(ledger: pl.DataFrame) -> dict[str, pl.Expr]:
    """`<strategy>.meter_kw` of every row: as a monthly ledger has it, else the strategy's highest and the rest of the load."""
    if OTHER not in ledger.columns:
        return {}
    nothing = ledger[OTHER].null_count() == ledger.height
    found = {}
    for strategy in strategies_of(ledger):
        name, both = f"{strategy}.{METER}", pl.col(f"{strategy}.peak_kw") + pl.col(OTHER)
        known = pl.col(name) if name in ledger.columns else pl.lit(None, pl.Float32) if nothing else both
        found[name] = known
    return found


def _dailies(ledger: pl.DataFrame, rates: Rates) -> dict[str, pl.Expr]:
    """`<strategy>.daily_kw` of every row, where a tariff charges demand by the day: what a usual day has in that hour, its mean
    and DAY_BEYOND_MEAN of what its highest is more, and the rest of the load."""
    names = {f"{strategy}.{BY_DAY}": strategy for strategy in strategies_of(ledger)}
    if {*names} <= {*ledger.columns}:
        return {name: pl.col(name) for name in names}
    if not rates.by_day:
        return {}
    rest = pl.col(OTHER).fill_null(0.0) if OTHER in ledger.columns else pl.lit(0.0, pl.Float32)
    mean = {name: pl.col(f"{strategy}{ELECTRICITY}") / pl.col("hours") for name, strategy in names.items()}
    return {
        name: (mean[name] + DAY_BEYOND_MEAN * (pl.col(f"{strategy}.peak_kw") - mean[name]) + rest).cast(pl.Float32)
        for name, strategy in names.items()
    }


def _each_hour(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """The rows of a ledger as they come, each with its site, month, class and tariff_id."""
    require_tariffs(rates, sites)
    billed = _billed(ledger, rates, sites).cast({"class": pl.UInt32})
    amounts = [name for name in ledger.columns if "." in name]
    return pl.concat([billed, ledger.select(amounts)], how="horizontal").with_columns(_named("tariff_id", sites))


def _billed(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """Of each row of the ledger its `site`, its month and its class; the class is -1 for what is of no site, or at no
    time of a tariff. By arithmetic: joining every hour by its names costs more than billing it."""
    tariffs = rates.times["tariff_id"].unique(maintain_order=True)
    tariff = pl.DataFrame({"tariff_id": tariffs, "tariff": range(len(tariffs))})
    known = _numbered(sites.select("site_id", "tariff_id")).join(tariff, on="tariff_id", how="left")
    same = ledger["site_id"].rle().struct.unnest()
    of_site = same.join(known, left_on="value", right_on="site_id", how="left", maintain_order="left").fill_null(-1)
    site, tariff_of = (np.repeat(of_site[name].to_numpy(), of_site["len"].to_numpy()) for name in (SITE, "tariff"))
    month, hour = (ledger[name].to_numpy().astype(np.int64) for name in ("month", "hour"))
    day = ledger["day_kind"].cast(pl.Enum(rates.kinds)).to_physical().to_numpy()
    number = ((month - 1) * len(rates.kinds) + day) * 24 + hour
    classes = rates.times["class"].to_numpy()  # so many slots of each tariff, in their order
    of_tariff = 12 * len(rates.kinds) * 24
    kind = classes.take(tariff_of * of_tariff + number, mode="clip").astype(np.int64)
    kind[(tariff_of < 0) | (hour < 0) | (hour > 23)] = -1
    return pl.DataFrame({SITE: site, "month": month, "class": kind})


@dataclass(frozen=True)
class LaidOut:
    """What bills are worked out from: the classes of hours of sites, the rows at which their months begin, what is charged by
    the month, the items, and what the site uses beside the air system [kWh a month, None where nothing asks]."""

    classes: pl.DataFrame
    begin: segments.Starts
    months: pl.DataFrame
    items: Items
    other: Floats | None


def lay_out(ledger: pl.DataFrame, rates: Rates, sites: pl.DataFrame, in_order: bool = False) -> LaidOut:
    """A ledger laid out for billing. Arguments and errors as for `bills`."""
    classes = _each_hour(ledger, rates, sites) if in_order else _by_class(ledger, rates, sites)
    begin = segments.starts(classes.select(MONTH))
    by_month = classes[begin].select(*MONTH, "tariff_id")
    by_month = by_month.join(rates.months, on=["tariff_id", "month"], how="left", maintain_order="left")
    items = Items.of(classes, begin, sites, rates, in_order)
    other = _other_kwh(classes, begin, sites, strategies_of(ledger)) if items.count_all else None
    return LaidOut(classes, begin, by_month, items, other)


def months(laid: LaidOut) -> pl.DataFrame:
    """The bills by `site` and month, in their order, strategies side by side: the columns of `BILL` as `<strategy>.<name>`, null
    where one is not there."""
    columns = {
        f"{strategy}.{name}": amounts
        for strategy in strategies_of(laid.classes)
        for name, amounts in bill(laid, strategy).items()
    }
    found = pl.DataFrame(columns).with_columns(pl.all().fill_nan(None))
    return pl.concat([laid.months.select(MONTH), found], how="horizontal")


def drawn(laid: LaidOut, strategy: str) -> Drawn:
    """What a strategy draws, or whatever else has columns among the classes; nothing where it is not there."""
    classes, begin = laid.classes, laid.begin

    def taken(name: str) -> Floats:
        column = classes.get_column(f"{strategy}.{name}", default=None)
        return np.zeros(classes.height) if column is None else column.cast(pl.Float64).fill_null(0.0).to_numpy()

    electricity, fuel, power = (taken(name) for name in ("electricity_kwh", "fuel_kwh", "peak_kw"))
    rest, meter = classes.get_column(OTHER, default=None), power
    alone = None if rest is None or rest.null_count() == len(rest) else rest.cast(pl.Float64).fill_null(0.0).to_numpy()
    if rest is not None and alone is not None:
        meter = np.where(rest.is_not_null().to_numpy(), taken(METER), power)
    return Drawn(
        electricity=electricity,
        fuel=fuel,
        power=power,
        fuel_power=taken(FUEL_PEAK),
        month_kwh=np.add.reduceat(electricity, begin),
        month_fuel_kwh=np.add.reduceat(fuel, begin),
        other=laid.other,
        meter=meter,
        daily=taken(BY_DAY) if f"{strategy}.{BY_DAY}" in classes.columns else meter,
        alone=alone,
        month_meter_kw=np.maximum.reduceat(meter, begin),
        month_alone_kw=None if alone is None else np.maximum.reduceat(alone, begin),
    )


def bill(laid: LaidOut, strategy: str) -> dict[str, Floats]:
    """The amounts of BILL of a strategy by month, not a number where there is none."""
    used = drawn(laid, strategy)
    sums = {kind: amounts / FINE for kind, amounts in laid.items.by_month(used).items()}
    there = laid.classes[f"{strategy}.peak_kw"].gather(laid.begin).is_not_null().to_numpy()
    by_month = {name: laid.months[name].cast(pl.Float64).to_numpy() for name in laid.months.columns[3:]}
    by_month["minimum"] = np.where(_rest_known(laid), 0.0, by_month["minimum"])  # the whole site's bill is above it
    energy, demand = with_percents(by_month, sums["energy"], sums["demand"] + sums[DAILY])
    fuel = _times(used.month_fuel_kwh, by_month["fuel_price_per_kwh"]) + sums["fuel"] + sums["fuel_demand"]
    carbon = [
        _times(kwh, by_month[f"{carrier}_kg_co2_per_kwh"])
        for kwh, carrier in ((used.month_kwh, "electricity"), (used.month_fuel_kwh, "fuel"))
    ]
    amounts = {
        "electricity_kwh": used.month_kwh,
        "energy_cost": energy,
        "peak_kw": used.month_meter_kw if used.alone is None else np.maximum.reduceat(used.power, laid.begin),
        "demand_cost": demand,
        "fuel_kwh": used.month_fuel_kwh,
        "fuel_cost": fuel * (1 + by_month["fuel_percent"] / 100),
        "emissions_kg": carbon[0] + carbon[1],
    }
    return {name: np.where(there, amounts[name], np.nan) for name in BILL}


def meter_kw(laid: LaidOut, strategy: str) -> Floats:
    """The highest hour at the meter in each month with a strategy, not a number where the rest of the load is not known."""
    known = _rest_known(laid)
    return np.where(known, drawn(laid, strategy).month_meter_kw if known.any() else np.nan, np.nan)


def _rest_known(laid: LaidOut) -> npt.NDArray[np.bool_]:
    """Of each month whether the rest of the site's load is known."""
    rest = laid.classes.get_column(OTHER, default=None)
    if rest is None:
        return np.zeros(len(laid.begin), dtype=np.bool_)
    known: npt.NDArray[np.bool_] = rest.gather(laid.begin).is_not_null().to_numpy()
    return known


def with_percents(by_month: Mapping[str, Floats], energy: Floats, demand: Floats) -> tuple[Floats, Floats]:
    """What energy and demand come to with what is charged per cent of both, and energy with what makes up a minimum."""
    share, fixed, least = (by_month[name] for name in ("electricity_percent", "fixed", "minimum"))
    energy, demand = energy * (1 + share / 100), demand * (1 + share / 100)
    return energy + np.maximum(least - fixed - energy - demand, 0.0) * (least > 0), demand


def whole_site_kwh(sites: pl.DataFrame) -> pl.Expr:
    """What each site uses in a year in all: its bill, or what is typical of its building type where that is known."""
    bill = pl.col("annual_electricity_kwh").cast(pl.Float64)
    if "typical_electricity_kwh_m2" not in sites.columns:
        return bill
    return pl.coalesce(bill, pl.col("typical_electricity_kwh_m2") * pl.col("floor_area_m2"))


def _other_kwh(classes: pl.DataFrame, begin: segments.Starts, sites: pl.DataFrame, strategies: Sequence[str]) -> Floats:
    """What the site uses in each month beside the air system: what its bills say beyond its current strategy, spread evenly
    over the months (common practice, no source), or what is given. Blocks count the whole site: a strategy comes on
    top of the rest and pays for the blocks it reaches."""
    of_site = classes[SITE].to_numpy()
    first = segments.starts(classes.select(SITE))
    sums = {s: np.add.reduceat(classes[s + ELECTRICITY].fill_null(0.0).to_numpy(), first) for s in strategies}
    given = "other_load_kwh" if "other_load_kwh" in sites.columns else pl.lit(None)
    known = sites.select("current_strategy", whole_site=whole_site_kwh(sites), given=given)[of_site[first]]
    used = np.zeros(len(first))
    for strategy, kwh in sums.items():
        used = np.where((known["current_strategy"] == strategy).fill_null(False).to_numpy(), kwh, used)
    beyond = np.clip(known["whole_site"].fill_null(0.0).to_numpy() - used, 0.0, None)
    rest = known["given"].cast(pl.Float64).fill_null(pl.Series(beyond)).to_numpy() / 12
    return rest[np.searchsorted(of_site[first], of_site[begin])]


def _years(months: pl.DataFrame, strategies: Sequence[str]) -> pl.DataFrame:
    """The years of all sites, strategies side by side: COSTS to the cent, emissions_kg and ENERGY. Null where any month
    lacks an amount: a sum over what is left would look complete."""
    begin = segments.starts(months.select(SITE))
    amounts = [f"{strategy}.{name}" for strategy in strategies for name in (*COSTS, "emissions_kg", *ENERGY)]
    totals = segments.totals(months.select(whole(pl.col(amounts))), begin)
    gaps = [name for name in amounts if months[name].null_count()]
    missing = segments.totals(months.select(pl.col(gaps).is_null().cast(pl.Int64).name.suffix(".missing")), begin)
    beside = pl.concat([months[begin].select(SITE), totals, missing], how="horizontal")

    def year(name: str) -> pl.Expr:
        total = pl.col(name) / UNITS
        total = money(total) if name.endswith(COSTS) else total
        return pl.when(pl.col(f"{name}.missing") == 0).then(total).alias(name) if name in gaps else total

    return beside.select(SITE, *map(year, amounts))


def _long(wide: pl.DataFrame, strategies: Sequence[str], keys: Sequence[str], names: Sequence[str]) -> pl.DataFrame:
    """A row for every strategy, its columns under their plain names."""
    return pl.concat(
        wide.select(*keys, pl.lit(s).alias("strategy"), *(pl.col(f"{s}.{name}").alias(name) for name in names))
        for s in strategies
    )


def _times(amounts: Floats, rates: Floats) -> Floats:
    """Amounts times rates; nothing of something unpriced costs nothing, some of it has no known cost."""
    return np.where(amounts == 0.0, 0.0, amounts * rates)


def _numbered(sites: pl.DataFrame) -> pl.DataFrame:
    """`sites` with their rows in SITE."""
    return sites.with_columns(pl.int_range(pl.len()).alias(SITE))


def _named(column: str, sites: pl.DataFrame) -> pl.Expr:
    """A column of `sites` beside SITE."""
    return pl.lit(sites[column]).gather(pl.col(SITE)).alias(column)


def require_tariffs(rates: Rates, sites: pl.DataFrame) -> None:
    """ContractError for all sites (site_id, tariff_id and, where there is one, row) whose tariff has no rates."""
    names = rates.months["tariff_id"].unique().sort()
    lost = sites.filter(~pl.col("tariff_id").is_in(names.implode()) | pl.col("tariff_id").is_null())
    if lost.is_empty():
        return
    faults = lost.select(
        table=pl.lit("sites"),
        row=pl.col("row") if "row" in lost.columns else pl.lit(None),
        site_id="site_id",
        column=pl.lit("tariff_id"),
        rule=pl.lit("known tariff"),
        value="tariff_id",
        message=pl.concat_str(
            pl.lit("site "),
            "site_id",
            pl.lit(" has no tariff of this name; add it to the tariffs, which have "),
            pl.lit(", ".join(names[:10])),
        ),
    )
    raise ContractError(faults.cast(pl.Schema(FAULT_SCHEMA)))
