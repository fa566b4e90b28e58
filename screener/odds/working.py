"""Draws through the engine: sites of a run with drawn figures, the weeks of their years, and what the strategies cost.

Each draw of a site is a site of its own to the engine; what they come to is compared with what the run's own figures come to
in the same weeks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from screener import climate, economics, ledger, price
from screener.contracts.origins import is_given
from screener.engine import Basis, prepare, simulate, size
from screener.engine.estimate import SIZED, as_written, sites_used
from screener.engine.weather_cache import years
from screener.engine.year import offers_at
from screener.odds import weeks
from screener.odds.drawing import OF_PLACE, Figure, drawn_sites
from screener.strategies import REFERENCE
from screener.tables import profiles
from screener.worksheet.hours import Hours

COSTS = ("energy_cost", "demand_cost", "fuel_cost")
FIGURES = (*COSTS, "hours_above_limit", "investment", "replacement_cost")
OWN_FIGURES = -1  # the number of a draw that leaves every figure as the run has it


@dataclass(frozen=True)
class Part:
    """Sites of a run (rows of sites_used, sorted) with their strategy results, and the strategies that are worked out."""

    sites: pl.DataFrame
    results: pl.DataFrame
    strategies: tuple[str, ...]


def work_out(
    part: Part, basis: Basis, figures: Sequence[Figure], numbers: Sequence[int], whole_years: bool = False
) -> pl.DataFrame:
    """What every strategy comes to in each draw of each site: `draw`, `site` (its number in the part), `strategy` (its number)
    and FIGURES, in that order, null where it cannot be had. With `whole_years` every hour is worked out, to check by."""
    count = part.sites.height
    frames: list[pl.DataFrame] = []
    hours: dict[tuple[str, float], Hours] = {}
    places: dict[str, Hours] = {}
    of_year = next((figure.values for figure in figures if figure.name in OF_PLACE), None)
    own = part.sites["weather_id"].unique().sort().to_list()
    whole = years(own, basis.inputs["weather"], basis.settings.dates)
    cut = {place: weeks.Dampness(year if whole_years else weeks.weeks(year)) for place, year in whole.items()}
    sites = _to_be_sized(part.sites)
    for number in numbers:
        drawn = sites if number == OWN_FIGURES else drawn_sites(sites, figures, number)
        factors = np.ones(count) if number == OWN_FIGURES or of_year is None else of_year[:, number]
        followed = []
        for at, (place, factor) in enumerate(zip(sites["weather_id"], factors.tolist(), strict=True)):
            if (place, factor) not in hours:
                hours[place, factor] = cut[place].times(factor)
            followed.append(f"{place}|{at:06}|{factor!r}")  # draws of a site stand together: the same hours are damp
            places[followed[-1]] = hours[place, factor]
        frames.append(drawn.with_columns(draw=pl.lit(number), site=pl.int_range(count), followed=pl.Series(followed)))
    rows = pl.concat(frames)
    rows = rows.with_columns(site_id=pl.Series([f"{at:09}" for at in range(rows.height)]))
    keys = rows.select("site_id", "draw", "site")
    own_offers = _of_rows(basis.inputs["offers"], keys.with_columns(of=part.sites["site_id"].gather(keys["site"])))
    costs = _costs(
        rows.drop("draw", "site", "followed"), rows["followed"], basis, places, part.strategies, own, own_offers
    )
    order = {strategy: at for at, strategy in enumerate(part.strategies)}
    numbered = costs.join(keys, on="site_id", maintain_order="left").with_columns(
        pl.col("strategy").replace_strict(order, return_dtype=pl.Int64)
    )
    return numbered.select("draw", "site", "strategy", *FIGURES).sort("draw", "site", "strategy")


def _to_be_sized(sites: pl.DataFrame) -> pl.DataFrame:
    """Sites whose cooling is sized anew where they do not state it; the number of units is a figure that is drawn."""
    capacity = next(iter(SIZED))
    return sites.with_columns(pl.when(is_given(capacity)).then(capacity).alias(capacity))


def _costs(
    rows: pl.DataFrame,
    followed: pl.Series,
    basis: Basis,
    places: dict[str, Hours],
    strategies: tuple[str, ...],
    own: list[str],
    offers: pl.DataFrame,
) -> pl.DataFrame:
    """The strategy results of rows of sites, as far as FIGURES go. `followed`: whose hours of `places` each row has."""
    prepare(rows.height)
    conditions = climate.design_conditions(own, basis.inputs["weather"])
    sized = size(rows, conditions, basis.inputs["equipment"], basis.inputs["profiles"], offers)
    used = as_written(sites_used(rows, sized))
    sized = sized.sort("site_id").with_columns(weather_id=followed)
    classes, accounts, courses = [], [], profiles.by_hour(basis.inputs["profiles"])
    for batch in simulate(sized, places, strategies, fuel_peaks=basis.rates.asks_fuel_peaks):
        classes.append(price.by_class(ledger.beside(batch.ledger, used, courses), basis.rates, used))
        accounts.append(batch.years)
    laid = price.lay_out(pl.concat(classes), basis.rates, used)
    costs = price.years(price.months(laid), strategies, used).drop(price.BILLED)
    totals = ledger.totals(pl.concat(accounts), strategies, REFERENCE.name)
    priced = totals.join(costs, on=["site_id", "strategy"], how="left", maintain_order="left")
    prices_of_all = used.with_columns(current_strategy=pl.lit(None, pl.String))  # of today's too, as of any other
    return economics.investments(
        priced, prices_of_all, basis.inputs["strategies"], basis.inputs["equipment"], offers_at(prices_of_all, offers)
    )


def _of_rows(offers: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """The offers table with those for a site as ones for each of its `rows` (`site_id` of a row, `of` which site)."""
    named = offers.filter(pl.col("site_id").is_not_null())
    each = named.join(rows.select("of", row_id="site_id"), left_on="site_id", right_on="of")
    mine = each.with_columns(site_id="row_id").select(offers.columns)
    return pl.concat([offers.filter(pl.col("site_id").is_null()), mine])
