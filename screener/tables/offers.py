"""What is wrong with an offer by itself or beside another, and which sites lose one that is."""

from collections.abc import Mapping

import polars as pl

from screener.tables.checking import CheckedTable, row_faults

OFFERS = "offers"
CHOSEN_BY = ("site_id", "tariff_id", "building_type", "climate_zone")  # the nearest first
PER_SIZE = ("investment_per_l_day", "investment_per_kw", "investment_per_l_s")
RATINGS: Mapping[str, tuple[str, ...]] = {
    # what of a rating a strategy's machine has; beside it any machine with a capacity has that, `capacity_l_day` and `units`
    "standalone_dehumidifier": ("litres_per_kwh", "rating_dry_bulb_c", "rating_rh_pct"),
    "outdoor_air_dehumidifier": ("litres_per_kwh",),
    "outdoor_air_dehumidifier_with_recovery": ("litres_per_kwh", "sensible_effectiveness", "latent_effectiveness"),
    "ventilation_heat_recovery": ("sensible_effectiveness", "latent_effectiveness"),
    "wrapped_coil_heat_pipe": ("sensible_effectiveness",),
    "desiccant_fuel_regenerated": ("regeneration_mj_per_kg",),
    "desiccant_condenser_regenerated": ("regeneration_mj_per_kg",),
}
SIZED = (
    "standalone_dehumidifier",
    "outdoor_air_dehumidifier",
    "outdoor_air_dehumidifier_with_recovery",
    "desiccant_fuel_regenerated",
    "desiccant_condenser_regenerated",
)
SIZES = ("capacity_l_day", "units")
C = pl.col


def offer_faults(offers: CheckedTable) -> pl.DataFrame:
    """Ratings that a strategy's machine does not have, prices that ask for a size there is none of, offers that fit the same
    sites equally well: none of two can be told to be the right one."""
    rated = sorted({column for columns in RATINGS.values() for column in columns})
    frame = offers.told(*rated, *SIZES, "strategy", "size_exponent", "price_at_size", "investment_per_unit")
    frame = frame.with_columns(offers.values.select("offer_id", *CHOSEN_BY, *PER_SIZE, "upkeep_per_l_day"))
    found = [_of_another_machine(frame, column) for column in rated]
    found += [_of_no_size(frame, column) for column in (*SIZES, "investment_per_l_day", "upkeep_per_l_day")]
    prices = pl.sum_horizontal(C(name).is_not_null() for name in PER_SIZE)
    half = C("size_exponent").is_null() != C("price_at_size").is_null()
    alone = "one of the two stands alone; give both, or neither"
    found.append(_fault(frame, half, "size_exponent, price_at_size", "half an economy of size", pl.lit(None), alone))
    unclear = C("size_exponent").is_not_null() & (prices != 1)
    one = "an economy of size is of one price; give exactly one price per L/day, kW or L/s beside it"
    found.append(_fault(frame, unclear, "size_exponent", "economy of no size", C("size_exponent:text"), one))
    no_unit = C("investment_per_unit").is_not_null() & C("capacity_l_day").is_null()
    size = "a price of a unit whose size is not said; give capacity_l_day"
    found.append(_fault(frame, no_unit, "investment_per_unit", "unit of no size", C("investment_per_unit:text"), size))
    return pl.concat([*found, _equal(frame)])


def _of_another_machine(frame: pl.DataFrame, column: str) -> pl.DataFrame:
    able = [strategy for strategy, columns in RATINGS.items() if column in columns]
    wrong = C(f"{column}:text").is_not_null() & C("strategy").is_not_null() & ~C("strategy").is_in(able)
    message = pl.concat_str(
        pl.lit(f"{column} is of "), pl.lit(", ".join(able)), pl.lit(", not of "), "strategy", pl.lit("; leave it empty")
    )
    return _fault(frame, wrong, column, "rating of another machine", C(f"{column}:text"), message)


def _of_no_size(frame: pl.DataFrame, column: str) -> pl.DataFrame:
    wrong = C(column).is_not_null() & C("strategy").is_not_null() & ~C("strategy").is_in(SIZED)
    message = pl.concat_str("strategy", pl.lit(" has no machine with a capacity in litres a day; leave it empty"))
    return _fault(frame, wrong, column, "rating of another machine", C(column).cast(pl.String), message)


def _equal(frame: pl.DataFrame) -> pl.DataFrame:
    """Offers for one strategy that are chosen by the same words fit the same sites."""
    key = ["strategy", *CHOSEN_BY]
    rows = C("row").cast(pl.String).str.join(", ").over(key)
    twice = frame.filter(C("strategy").is_not_null()).with_columns(rows=rows)
    twice = twice.filter(pl.struct(key).is_duplicated())
    message = pl.concat_str(
        pl.lit("the offers in rows "),
        "rows",
        pl.lit(" are of "),
        "strategy",
        pl.lit(" and fit the same sites; keep one, or tell them apart by site_id, tariff_id, building_type or zone"),
    )
    return row_faults(OFFERS, twice, ", ".join(CHOSEN_BY), "two offers that fit equally", C("offer_id"), message)


def _fault(
    frame: pl.DataFrame, where: pl.Expr, column: str, rule: str, value: pl.Expr, message: str | pl.Expr
) -> pl.DataFrame:
    return row_faults(OFFERS, frame.filter(where), column, rule, value, message)


def fitting(sites: pl.DataFrame, offers: pl.DataFrame) -> pl.DataFrame:
    """Which offer counts at which site: `site_id` and the columns of `offers` but those they are chosen by, one row per
    site_id and strategy, sorted so; `is_near`: whether the offer is for this site alone.

    `sites`: site_id, tariff_id, building_type, climate_zone. The nearest counts: an offer for the site before one for its
    tariff, then its kind, then its zone; of two chosen by several of these the one chosen by the nearer.
    """
    wanted = {name: f"for.{name}" for name in CHOSEN_BY}
    named = offers.rename(wanted).with_columns(
        is_near=C("for.site_id").is_not_null(),
        nearness=pl.sum_horizontal(
            C(column).is_not_null().cast(pl.Int64) * 2**at for at, column in enumerate(reversed(wanted.values()))
        ),
    )
    kinds = sites.select(CHOSEN_BY).join(named, how="cross")
    fits = pl.all_horizontal(C(column).is_null() | C(column).eq_missing(C(name)) for name, column in wanted.items())
    nearest = kinds.filter(fits).sort("site_id", "strategy", "nearness", descending=[False, False, True])
    return nearest.unique(["site_id", "strategy"], keep="first", maintain_order=True).drop(
        *wanted.values(), *CHOSEN_BY[1:], "nearness"
    )


def lost_notes(sites: pl.DataFrame, lost: pl.DataFrame, cells: pl.DataFrame) -> pl.DataFrame:
    """`site_id` and `row_note`: of the sites that a rejected offer was for, what stands in its place;
    `cells` (row, row_note) says more of rows.

    `lost`: rows of the offers table as far as they could be read.
    """
    known = lost.filter(C("strategy").is_not_null() & C("climate_zone").is_null())
    at = fitting(sites.select(*CHOSEN_BY), known) if not known.is_empty() else known.select("site_id", "strategy")
    note = pl.concat_str(
        pl.lit("its offer of "), "strategy", pl.lit(" is at fault: the machine and price of the tables stand in")
    )
    of_offers = at.group_by("site_id").agg(row_note=note.sort().str.join("; "))
    of_cells = sites.select("site_id", "row").join(cells, on="row").select("site_id", "row_note")
    both = pl.concat([of_cells, of_offers]).sort("site_id", maintain_order=True)
    return both.group_by("site_id", maintain_order=True).agg(pl.col("row_note").str.join("; "))
