"""Tariffs laid out by time: classes of hours that are billed alike, and the charges of each.

Whatever table a price stands in, it becomes a *line*: a charge for energy or demand in a block of a month, with a price in
some of its hours. In a month, the hours in which the same rows hold form a class; so a bill needs the sums and the highest
hours of classes, and no more.

Ledgers know two kinds of day. A tariff that names other days (Mon-Thu) is laid out by the days of the week and folded: energy
pays the mean of the days of a kind, demand the dearest, as any of them may have the highest hour. Hours that know their day
of the week are billed exactly, with rates of kinds `calendar.WEEK`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from screener import calendar
from screener.contracts import load
from screener.units import THERM_KWH

SET_BY_MONTH = ("fuel_price_per_kwh", "electricity_kg_co2_per_kwh", "fuel_kg_co2_per_kwh")
PRICE, DEMAND, FUEL, FUEL_DEMAND = (
    "electricity_price_per_kwh",
    "demand_price_per_kw",
    "fuel_price_per_kwh",
    "fuel_demand_price_per_kw",
)
DAILY = "daily_demand"
KINDS = {"energy": PRICE, "demand": DEMAND, DAILY: DEMAND, "fuel": FUEL, "fuel_demand": FUEL_DEMAND}
BY_MONTH = {  # of tariff_charges: what months add up, by the names of `Rates.months`
    "electricity_percent": "electricity_percent",
    "fuel_percent": "fuel_percent",
    "fixed_price_per_month": "fixed",
    "minimum_price_per_month": "minimum",
}
HIGHEST, OWN_PRICE, TIERED = "highest hour", "energy", "energy in tiers"
ENDLESS = float("inf")
LOOKBACK = 11  # months
BY_DAY = "the highest hour of a day is taken from means of each hour of the day (an approximation, within some 3 %)"
BY_COUNT = "energy is apportioned by the count of days, demand is that of all days of the kind (an approximation)"
ROWS = {
    "tariff_id": pl.String,
    "kind": pl.String,
    "charge": pl.String,
    "above": pl.Float64,
    "up_to": pl.Float64,
    "per_kw": pl.Boolean,
    "counts": pl.String,
    "ratchet": pl.Float64,
    "lookback": pl.Int64,
    "ratchet_months": pl.String,
    "daily": pl.String,
    "price": pl.Float64,
    "months": pl.String,
    "day_kind": pl.String,
    "from_hour": pl.Int64,
    "to_hour": pl.Int64,
    "once": pl.Boolean,
}
PLACES = ("replacing", "adding", "own")
"""How a row's price of energy stands to others: windows and tiers replace the tariff's own price, charges are added to both."""
LINE = (
    "kind",
    "once",
    "charge",
    "above",
    "up_to",
    "per_kw",
    "counts",
    "ratchet",
    "lookback",
    "ratchet_months",
    "daily",
)
AT = ("tariff_id", *calendar.TIME)


@dataclass(frozen=True)
class Rates:
    """What tariffs charge, as four small tables.

    `times`: tariff_id, month, day_kind (one of `kinds`), hour, class: all slots of every tariff, in their order.
    `lines`: a row per tariff_id, month and line: `kind` (of KINDS), `charge` (its name), the block `above` .. `up_to` [kWh or
    kW a month, `per_kw`: kWh per kW of the month's highest power], `counts` (all or window), `ratchet` (share, null for
    none), `lookback` [months], `ratchet_months`, `daily` (of demand by the day the kind of day, null for others).
    `members`: tariff_id, month, class, `line` (its row in `lines`), the `price` of the line in that class, and the `share` of the
    class's days on which it holds (its price of energy is already the mean of them all).
    `months`: tariff_id, month, fuel_price_per_kwh and the emission factors [kg CO2/kWh], null where the tariff does not say;
    electricity_percent, fuel_percent, fixed and minimum [currency].
    """

    times: pl.DataFrame
    lines: pl.DataFrame
    members: pl.DataFrame
    months: pl.DataFrame
    kinds: Sequence[str] = calendar.DAY_KINDS

    @property
    def in_part(self) -> list[str]:
        """Tariffs with charges on some of the working or of the other days, which are apportioned."""
        return self.members.filter(pl.col("share") < 1)["tariff_id"].unique().sort().to_list()

    @property
    def charging_demand(self) -> list[str]:
        """Tariffs that charge the highest hour of electricity."""
        asking = pl.col("kind").is_in(["demand", DAILY]) | ((pl.col("kind") == "energy") & pl.col("per_kw"))
        return self.lines.filter(asking)["tariff_id"].unique().sort().to_list()

    @property
    def by_day(self) -> list[str]:
        """Tariffs that charge the highest hour of each day."""
        return self.lines.filter(pl.col("kind") == DAILY)["tariff_id"].unique().sort().to_list()

    @property
    def asks_fuel_peaks(self) -> bool:
        """Whether a tariff charges the highest hour of fuel."""
        return bool((self.lines["kind"] == "fuel_demand").any())


def rates(
    tariffs: pl.DataFrame,
    periods: pl.DataFrame,
    tiers: pl.DataFrame,
    electricity_kg_co2_per_kwh: float | None = None,
    fuel_kg_co2_per_kwh: float | None = None,
    charges: pl.DataFrame | None = None,
    kinds: Sequence[str] = calendar.DAY_KINDS,
) -> Rates:
    """The rates of tables as their contracts have them (tariffs, tariff_periods, tariff_tiers, tariff_charges), checked, for
    hours of these `kinds` of day: those of ledgers, or those of the WEEK.

    The emission factors [kg CO2/kWh] stand in where a tariff names none. ValueError where hours have no price: tables
    that were read have none such.
    """
    charges = pl.DataFrame(schema=load("tariff_charges").polars_schema()) if charges is None else charges
    replacing = pl.concat([_of_tariffs(tariffs), _of_periods(periods), _of_tiers(tiers)])
    own = _line_rows(tariffs.select("tariff_id", PRICE), "energy", pl.lit(OWN_PRICE), PRICE)
    placed = zip(PLACES, (replacing, of_charges(charges), own), strict=True)
    rows = pl.concat([part.with_columns(place=pl.lit(place), share=pl.lit(1.0)) for place, part in placed])
    rows = _per_kva(rows, tariffs).with_row_index("row")
    rows, slots = _held(rows, tariffs.filter("daylight_saving")["tariff_id"], kinds)
    _require_prices(tariffs, slots, charges.filter(pl.col(PRICE).is_not_null())["tariff_id"], kinds)
    every = tariffs.select("tariff_id").join(calendar.year(kinds), how="cross", maintain_order="left_right")
    held = slots.sort("row").group_by(AT, maintain_order=True).agg(held=pl.col("row").cast(pl.String).str.join(" "))
    alike = pl.col("held").fill_null("").rank("dense").over("tariff_id", "month") - 1
    times = every.join(held, on=AT, how="left", maintain_order="left").with_columns(
        alike.cast(pl.UInt32).alias("class")
    )
    lines, members = _lines(rows, slots.join(times.select(*AT, "class"), on=AT))
    factors = {
        "electricity_kg_co2_per_kwh": electricity_kg_co2_per_kwh,
        "fuel_kg_co2_per_kwh": fuel_kg_co2_per_kwh,
    }
    months = _by_month(tariffs, periods, charges, factors)
    return Rates(times.select("tariff_id", *calendar.TIME, "class"), lines, members, months, kinds)


def indistinct(kept: Rates, wanted: Rates) -> list[str]:
    """Tariffs of `wanted` that bill apart what `kept`, the rates a monthly ledger was summed by, does not tell apart."""
    both = kept.times.join(wanted.times, on=["tariff_id", *calendar.TIME], suffix="_wanted")
    apart = both.group_by("tariff_id", "month", "class").agg(pl.col("class_wanted").n_unique())
    return apart.filter(pl.col("class_wanted") > 1)["tariff_id"].unique().sort().to_list()


def assumed_bills(sites: pl.DataFrame, rates: Rates) -> pl.DataFrame:
    """The rows of sites whose place in the blocks of their tariff is a guess: they give no bill."""
    in_blocks = rates.lines.filter((pl.col("kind") == "energy") & is_block() & (pl.col("counts") == "all"))
    asking = in_blocks["tariff_id"].unique().implode()
    return sites.filter(pl.col("tariff_id").is_in(asking) & pl.col("annual_electricity_kwh").is_null())


def notes(sites: pl.DataFrame, rates: Rates) -> list[str]:
    """Remarks on sites whose place in the blocks of their tariff is a guess, and on those whose days are apportioned."""
    count, found = assumed_bills(sites, rates).height, []
    if count:
        whose = "1 site has a tariff in tiers" if count == 1 else f"{count:,} sites have a tariff in tiers"
        assumed = "there its blocks begin where a typical bill of the building type puts them (assumed)"
        found.append(f"{whose} and no annual_electricity_kwh: {assumed}")
    if in_part := sites.filter(pl.col("tariff_id").is_in(rates.in_part)).height:
        whose = "1 site has a tariff" if in_part == 1 else f"{in_part:,} sites have a tariff"
        found.append(f"{whose} with charges on single days of the week: {BY_COUNT}")
    if by_day := sites.filter(pl.col("tariff_id").is_in(rates.by_day)).height:
        whose = "1 site has a tariff" if by_day == 1 else f"{by_day:,} sites have a tariff"
        found.append(f"{whose} with demand by the day: {BY_DAY}")
    charged = sites.filter(pl.col("tariff_id").is_in(rates.charging_demand))
    given = [name for name in ("annual_electricity_kwh", "other_load_kwh") if name in sites.columns]
    if alone := charged.filter(pl.all_horizontal(pl.col(given).is_null())).height:
        whose = "1 site with a demand charge gives" if alone == 1 else f"{alone:,} sites with a demand charge give"
        found.append(
            f"{whose} neither annual_electricity_kwh nor other_load_kwh: demand is that of the air system alone"
        )
    return found


def is_block() -> pl.Expr:
    """Whether a line holds for a part of what is counted only."""
    return (pl.col("above") > 0) | pl.col("up_to").is_finite()


def of_charges(charges: pl.DataFrame) -> pl.DataFrame:
    """The rows of `tariff_charges` that price energy or demand, as ROWS."""
    found = [pl.DataFrame(schema=ROWS)]
    numbered = charges.with_row_index("number", offset=1)
    unit = pl.col("block_unit").fill_null("")
    per_therm = pl.when(unit.is_in(["therm", "therm_h"])).then(THERM_KWH).otherwise(1.0)
    for kind, column in KINDS.items():
        named = pl.coalesce("charge", pl.concat_str(pl.lit("line "), pl.col("number").cast(pl.String)))
        by_day = (pl.col("demand_assessed") == "daily").fill_null(False)
        mine = by_day == (kind == DAILY) if column == DEMAND else pl.lit(True)
        priced = numbered.filter(pl.col(column).is_not_null() & mine).with_columns(
            day_kind=day_kinds(pl.col("days")),
            daily=pl.lit(None, pl.String),
            kind=pl.lit(kind),
            charge=named,
            above=pl.col("above").fill_null(0.0) * per_therm,
            up_to=pl.col("up_to").fill_null(ENDLESS) * per_therm,
            per_kw=unit == "kwh_per_kw",
            counts=pl.col("block_counts").fill_null("all"),
            ratchet=pl.col("ratchet_percent") / 100,
            lookback=pl.col("ratchet_lookback_months").fill_null(LOOKBACK),
            price=column,
            once=pl.lit(False),
        )
        rows = priced.select(pl.col(name).cast(dtype) for name, dtype in ROWS.items())
        found.append(_of_each_kind(rows) if kind == DAILY else rows)
    return pl.concat(found)


def _of_each_kind(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows that hold on days of one kind each: days of a kind are told apart by their count, not by themselves."""
    found = [rows.clear()]
    for kind in calendar.DAY_KINDS:
        digits = {text: calendar.both(text, kind) for text in rows["day_kind"].drop_nulls().unique()}
        own = (
            pl.col("day_kind")
            .fill_null(calendar.ALL_DAYS)
            .replace_strict(digits | {calendar.ALL_DAYS: kind}, return_dtype=pl.String)
        )
        found.append(rows.with_columns(day_kind=own, daily=pl.lit(kind)).drop_nulls("day_kind"))
    return pl.concat(found)


def day_kinds(days: pl.Expr) -> pl.Expr:
    """`calendar.day_kind` of texts of days; null for all."""
    return days.map_elements(calendar.day_kind, return_dtype=pl.String)


def _line_rows(rows: pl.DataFrame, kind: str, charge: pl.Expr, price: str, **given: pl.Expr) -> pl.DataFrame:
    """Rows that price something, as ROWS; what is not given holds all hours and has no blocks."""
    plain: dict[str, pl.Expr] = {
        "once": pl.lit(False),
        "above": pl.lit(0.0),
        "up_to": pl.lit(ENDLESS),
        "per_kw": pl.lit(False),
        "counts": pl.lit("all"),
    }
    known = plain | given | {"kind": pl.lit(kind), "charge": charge, "price": pl.col(price)}
    priced = rows.filter(pl.col(price).is_not_null()).with_columns(**known)
    absent = {name: pl.lit(None) for name in ROWS if name not in priced.columns}
    return priced.with_columns(**absent).select(pl.col(name).cast(dtype) for name, dtype in ROWS.items())


def _of_tariffs(tariffs: pl.DataFrame) -> pl.DataFrame:
    """Demand on the highest of all hours; the tariff's own energy price holds where others leave off: see `_own_price`."""
    return _line_rows(tariffs.select("tariff_id", DEMAND), "demand", pl.lit(HIGHEST), DEMAND)


def _of_periods(periods: pl.DataFrame) -> pl.DataFrame:
    """Windows; demand of one period shares its highest hour and its price, however many rows it is cut into."""
    kind = pl.col("day_kind").map_elements(calendar.spelt_kind, return_dtype=pl.String)
    numbered = periods.with_row_index("window", offset=1).with_columns(day_kind=kind)
    name = pl.coalesce("period", pl.concat_str(pl.lit("window "), pl.col("window").cast(pl.String)))
    return pl.concat(
        [
            _line_rows(numbered, "energy", name, PRICE),
            _line_rows(numbered, "demand", name, DEMAND, once=pl.lit(True)),
        ]
    )


def _of_tiers(tiers: pl.DataFrame) -> pl.DataFrame:
    """Each block of each month from where it begins, which is where the one before it ends."""
    ends = calendar.by_month(tiers).sort("tariff_id", "month", "up_to_kwh", nulls_last=True)
    begin = pl.col("up_to_kwh").shift(1).over("tariff_id", "month").fill_null(0.0)
    blocks = ends.with_columns(months=pl.col("month").cast(pl.String))
    return _line_rows(
        blocks, "energy", pl.lit(TIERED), PRICE, above=begin, up_to=pl.col("up_to_kwh").fill_null(ENDLESS)
    )


def _per_kva(rows: pl.DataFrame, tariffs: pl.DataFrame) -> pl.DataFrame:
    """Rows with demand prices per kilowatt where the tariff's are per kilovolt-ampere."""
    factors = tariffs.select("tariff_id", factor=pl.col("power_factor").fill_null(1.0))
    per_kw = rows.join(factors, on="tariff_id", how="left", maintain_order="left")
    is_demand, factor = pl.col("kind").is_in(["demand", DAILY]), pl.col("factor").fill_null(1.0)
    return per_kw.with_columns(
        pl.when(is_demand).then(pl.col(name) / by).otherwise(name).alias(name)
        for name, by in (("price", factor), ("above", 1 / factor), ("up_to", 1 / factor))
    ).drop("factor")


def _held(rows: pl.DataFrame, by_clock: pl.Series, kinds: Sequence[str]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows, those of tariffs that name single days folded into the `kinds` of day, and at which slots each holds."""
    named = pl.col("day_kind").is_in([*calendar.DAY_KINDS, calendar.ALL_DAYS])
    odd = rows.filter(~named.fill_null(True))["tariff_id"].unique()
    if kinds == calendar.WEEK or odd.is_empty():
        return rows, _slots(rows, by_clock, kinds)
    mine = pl.col("tariff_id").is_in(odd.implode())
    plain, single = rows.filter(~mine), rows.filter(mine)
    folded, at = _folded(single, _slots(single, by_clock, calendar.WEEK), rows.height)
    return pl.concat([plain, folded], how="diagonal"), pl.concat([_slots(plain, by_clock, kinds), at])


def _folded(rows: pl.DataFrame, slots: pl.DataFrame, first: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """What rows on days of the week come to on working and on other days: rows numbered from `first` on, and their slots."""
    is_working = pl.col("day_kind").is_in(calendar.WEEK[: calendar.WORKING_DAYS])
    kind = pl.when(is_working).then(pl.lit(calendar.DAY_KINDS[0])).otherwise(pl.lit(calendar.DAY_KINDS[1]))
    size = pl.when(is_working).then(calendar.WORKING_DAYS).otherwise(len(calendar.WEEK) - calendar.WORKING_DAYS)
    told = slots.drop("kind").join(rows.select("row", "price", *LINE), on="row").sort("row", maintain_order=True)
    daily = told.group_by(*LINE, *AT, maintain_order=True).agg(pl.col("price").sum(), pl.col("row").first())
    daily = daily.with_columns(of=size).with_columns(day_kind=kind).sort("row", *AT, maintain_order=True)
    total, days = pl.col("price").sum(), pl.len() / pl.col("of").first()
    is_demand = pl.col("kind").str.contains("demand")
    price = pl.when(is_demand.first()).then(pl.col("price").max()).otherwise(total / pl.col("of").first())
    of_kind = daily.group_by(*LINE, *AT, maintain_order=True).agg(price=price, share=days)
    key = ["tariff_id", *LINE, "price", "share"]
    folded = of_kind.select(key).unique(maintain_order=True).with_row_index("row", offset=first)
    at = of_kind.join(folded, on=key, nulls_equal=True, maintain_order="left")
    return folded, at.select("row", "kind", *AT)


def _slots(rows: pl.DataFrame, by_clock: pl.Series, kinds: Sequence[str]) -> pl.DataFrame:
    """A row for each time at which a row holds: `row`, its kind, tariff_id and the time in standard time. `by_clock`: tariffs
    whose hours are those of a clock with daylight saving."""
    ahead = pl.col("tariff_id").is_in(by_clock.implode()) & pl.col("month").is_in(calendar.SUMMER_TIME)
    standard = pl.when(ahead).then((pl.col("hour") + 23) % 24).otherwise("hour")
    times = calendar.times(rows, kinds).with_columns(hour=standard)
    times = times.select("row", "kind", "charge", "once", "place", *AT)
    replaced = times.filter((pl.col("place") == PLACES[0]) & (pl.col("kind") == "energy")).select(AT).unique()
    others, owned = times.filter(pl.col("place") != PLACES[2]), times.filter(pl.col("place") == PLACES[2])
    shared = others.filter("once").unique(["charge", *AT], keep="first", maintain_order=True)
    plain = others.filter(pl.col("once").not_())
    found = [plain, shared, owned.join(replaced, on=AT, how="anti", maintain_order="left")]
    return pl.concat(found).select("row", "kind", *AT)


def _require_prices(tariffs: pl.DataFrame, slots: pl.DataFrame, adding: pl.Series, kinds: Sequence[str]) -> None:
    """ValueError where a tariff has hours without a price; those `adding` charges for energy may leave hours free."""
    whole = calendar.year(kinds).height
    priced = slots.filter(pl.col("kind") == "energy").unique(AT).group_by("tariff_id").agg(times=pl.len())
    short = tariffs.join(priced, on="tariff_id", how="left").filter(pl.col("times").fill_null(0) < whole)
    short = short.filter(~pl.col("tariff_id").is_in(adding.unique().implode()))
    if not short.is_empty():
        raise ValueError(f"tariff {short['tariff_id'][0]} has hours without a price of electricity")


def _lines(rows: pl.DataFrame, slots: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """`lines` and `members` of Rates."""
    times = ["tariff_id", "month", "class"]
    once = slots.select("row", *times).unique().join(rows.select("row", "price", "share", *LINE), on="row")
    keys = ["tariff_id", "month", *LINE]
    lines = once.sort("tariff_id", "month", "row").unique(keys, keep="first", maintain_order=True)
    lines = lines.select(keys).with_row_index("line")
    numbered = once.join(lines, on=keys, nulls_equal=True)
    members = (
        numbered.sort("line", "class", "row")
        .group_by("line", *times, maintain_order=True)
        .agg(pl.col("price").sum(), pl.col("share").max())
        .select(*times, "line", "price", "share")
    )
    return lines, members


def _by_month(
    tariffs: pl.DataFrame, periods: pl.DataFrame, charges: pl.DataFrame, factors: dict[str, float | None]
) -> pl.DataFrame:
    """What is charged by the month: a row of the periods for that month, else the tariff, else the `factors`; and what the
    charges of the month add up to."""
    rows = tariffs.select("tariff_id", *SET_BY_MONTH).join(pl.DataFrame({"month": range(1, 13)}), how="cross")
    for name in SET_BY_MONTH:
        set_by = calendar.by_month(periods.filter(pl.col(name).is_not_null())).select("tariff_id", "month", here=name)
        rows = rows.join(set_by, on=["tariff_id", "month"], how="left", maintain_order="left")
        stand_in = pl.lit(factors.get(name), pl.Float64)
        rows = rows.with_columns(pl.coalesce("here", name, stand_in).cast(pl.Float64).alias(name)).drop("here")
    added = calendar.by_month(charges).group_by("tariff_id", "month", maintain_order=True)
    sums = added.agg(pl.col(name).sum().alias(short) for name, short in BY_MONTH.items())
    burnt = added.agg(in_lines=pl.col(FUEL).is_not_null().any())
    rows = rows.join(sums, on=["tariff_id", "month"], how="left", maintain_order="left")
    rows = rows.join(burnt, on=["tariff_id", "month"], how="left", maintain_order="left")
    in_lines = pl.col("in_lines").fill_null(False)
    return rows.select(
        "tariff_id",
        "month",
        pl.when(in_lines).then(pl.col(FUEL).fill_null(0.0)).otherwise(FUEL).alias(FUEL),
        *SET_BY_MONTH[1:],
        *(pl.col(short).fill_null(0.0) for short in BY_MONTH.values()),
    )
