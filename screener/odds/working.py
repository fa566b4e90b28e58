"""Draws through the engine: sites of a run with drawn figures, some days of their years, and what the strategies cost.

Each draw of a site is a site of its own to the engine; what they come to is compared with what the run's own figures come to
in the same days.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from screener import climate, economics, ledger, price
from screener.contracts.origins import is_given
from screener.engine import Basis, prepare, simulate, size
from screener.engine.estimate import SIZED, as_written, sites_used
from screener.engine.weather_cache import years
from screener.engine.year import offers_at
from screener.odds import some_days
from screener.odds.drawing import STUDY, Figure, drawn_sites
from screener.strategies import REFERENCE
from screener.tables import profiles
from screener.worksheet.hours import Hours

COSTS = ("energy_cost", "demand_cost", "fuel_cost")
FIGURES = (*COSTS, "hours_above_limit", "investment", "replacement_cost")
OWN_FIGURES, DRY_YEAR, DAMP_YEAR = -1, -2, -3  # numbers of draws that leave every figure as the run has it
OWN = {
    OWN_FIGURES: 1.0,
    DRY_YEAR: 0.8,
    DAMP_YEAR: 1.25,
}  # and the latent load of outdoor air in them, about a year's spread


@dataclass(frozen=True)
class Part:
    """Sites of a run (rows of sites_used, sorted) with their strategy results, the strategies that are worked out at each, and
    those of all of them."""

    sites: pl.DataFrame
    results: pl.DataFrame
    needed: Sequence[tuple[str, ...]]
    strategies: tuple[str, ...]


class _Followed(Mapping[str, Hours]):
    """The hours that rows follow, by a key of each: those of its place with its latent load, made when they are asked for."""

    def __init__(self, places: Mapping[str, some_days.Dampness], rows: Sequence[tuple[str, float]]) -> None:
        self._places = places
        self._rows = {f"{at:09}": row for at, row in enumerate(rows)}

    def __getitem__(self, key: str) -> Hours:
        place, factor = self._rows[key]
        return self._places[place].times(factor)

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


def places(part: Part, basis: Basis, whole_years: bool = False) -> dict[str, some_days.Dampness]:
    """What hours the places of a part have in draws, by weather_id: some days of the year, or every hour, to check by."""
    own = part.sites["weather_id"].unique().sort().to_list()
    whole = years(own, basis.inputs["weather"], basis.settings.dates)
    return {
        place: some_days.Dampness(year if whole_years else some_days.some_days(year)) for place, year in whole.items()
    }


def work_out(
    part: Part,
    basis: Basis,
    figures: Sequence[Figure],
    numbers: Sequence[int],
    hours: Mapping[str, some_days.Dampness] | None = None,
) -> pl.DataFrame:
    """What every strategy comes to in each draw of each site: `draw`, `site` (its number in the part), `strategy` (its number)
    and FIGURES, in that order, null where it cannot be had or is not worked out. `hours`: those of `places`, by which
    they are worked out (None: some days of the year)."""
    sites = _to_be_sized(part.sites).with_columns(site=pl.int_range(pl.len()))
    drawn = [number for number in numbers if number not in OWN]
    frames = [sites.with_columns(draw=pl.lit(number, pl.Int64)) for number in numbers if number in OWN]
    if drawn:
        moved = drawn_sites(sites, figures, drawn)
        frames.append(moved.with_columns(draw=pl.Series(drawn * sites.height, dtype=pl.Int64)))
    rows = pl.concat(frames).sort(
        "site", maintain_order=True
    )  # draws of a site stand together: the same hours are damp
    rows = rows.with_columns(site_id=pl.Series([f"{at:09}" for at in range(rows.height)]))
    latent = next(figure.values for figure in figures if figure.name == STUDY)
    followed = [
        (place, OWN[number] if number in OWN else float(latent[site, number]))
        for place, site, number in rows.select("weather_id", "site", "draw").iter_rows()
    ]
    cut = places(part, basis) if hours is None else hours
    keys = rows.select("site_id", "draw", "site")
    own_offers = _of_rows(basis.inputs["offers"], keys.with_columns(of=part.sites["site_id"].gather(keys["site"])))
    alike: dict[tuple[str, ...], list[int]] = {}
    for site, names in enumerate(part.needed):
        alike.setdefault(names, []).extend(range(site * len(numbers), (site + 1) * len(numbers)))
    follows = _Followed(cut, followed)
    costs = _costs(rows.drop("draw", "site"), follows, basis, alike, part.strategies, [*cut], own_offers)
    place = {strategy: at for at, strategy in enumerate(part.strategies)}
    numbered = costs.join(keys, on="site_id", maintain_order="left").with_columns(
        pl.col("strategy").replace_strict(place, return_dtype=pl.Int64)
    )
    return numbered.select("draw", "site", "strategy", *FIGURES).sort("draw", "site", "strategy")


def _to_be_sized(sites: pl.DataFrame) -> pl.DataFrame:
    """Sites whose cooling is sized anew where they do not state it; the number of units is a figure that is drawn."""
    capacity = next(iter(SIZED))
    return sites.with_columns(pl.when(is_given(capacity)).then(capacity).alias(capacity))


def _costs(
    rows: pl.DataFrame,
    followed: Mapping[str, Hours],
    basis: Basis,
    alike: Mapping[tuple[str, ...], Sequence[int]],
    strategies: tuple[str, ...],
    own: list[str],
    offers: pl.DataFrame,
) -> pl.DataFrame:
    """The strategy results of rows of sites, as far as FIGURES go. `followed`: the hours of each row, by its site_id;
    `alike`: the rows by the strategies that are worked out there."""
    prepare(rows.height, strategies)
    conditions = climate.design_conditions(own, basis.inputs["weather"])
    sized = size(rows, conditions, basis.inputs["equipment"], basis.inputs["profiles"], offers)
    used = as_written(sites_used(rows, sized))
    sized = sized.sort("site_id").with_columns(weather_id="site_id")
    classes, accounts, courses = [], [], profiles.by_hour(basis.inputs["profiles"])
    for names, mine in alike.items():
        for batch in simulate(sized[mine], followed, names, fuel_peaks=basis.rates.asks_fuel_peaks):
            classes.append(price.by_class(ledger.beside(batch.ledger, used, courses), basis.rates, used))
            accounts.append(batch.years)
    laid = price.lay_out(pl.concat(classes, how="diagonal"), basis.rates, used)
    costs = price.years(price.months(laid), strategies, used).drop(price.BILLED)
    totals = ledger.totals(pl.concat(accounts, how="diagonal"), strategies, REFERENCE.name)
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
