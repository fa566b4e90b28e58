"""What a strategy would cost to install at a site, who pays a part of it, and when the same is due again."""

import polars as pl

from screener.contracts import PLACEHOLDER
from screener.contracts.hour import BESIDE_TODAY, WITHOUT_EQUIPMENT
from screener.contracts.origins import is_given
from screener.exact import money

SIZES = {  # price per size: size it is multiplied with
    "investment_per_l_day": "device_capacity_l_day",
    "investment_per_kw": "cooling_capacity_kw",
    "investment_per_l_s": "outdoor_air_l_s",
}
UPKEEP = {name.replace("investment", "upkeep"): size for name, size in SIZES.items()}
OF_OFFER = ("investment_fixed", "investment_per_unit", *SIZES)  # prices that an offer may give
INCENTIVES = ("incentive_share", "incentive_fixed", "incentive_per_kwh", "incentive_per_kw", "incentive_cap")
PUBLISHED = ("published_low", "published_high")  # of a placeholder
ECONOMY = ("size_exponent", "price_at_size")
OF_TABLE, OF_EQUIPMENT, OF_OFFERS, QUOTED = "strategies table", "equipment table", "offers table", "quotation"
INVESTED = (
    "is_current",
    "candidate",
    "without_equipment",
    "investment",
    "incentive",
    "investment_basis",
    *PUBLISHED,
    "size_assumed",
    "offer_id",
    "upkeep_per_year",
    "life_years",
    "replaced_after_years",
    "replacement_cost",
    "priced_below",
)
C = pl.col


def investments(
    totals: pl.DataFrame,
    sites: pl.DataFrame,
    strategies: pl.DataFrame,
    equipment: pl.DataFrame,
    offered: pl.DataFrame,
    without_equipment_competes: bool = False,
) -> pl.DataFrame:
    """`totals` with what each strategy would cost to install at each site, columns INVESTED.

    `totals`: site_id, strategy, device_capacity_l_day, device_units, electricity_kwh, peak_kw. `sites`: site_id,
    current_strategy, equipment_id, cooling_capacity_kw, outdoor_air_l_s and the origins of the two. `strategies`: prices,
    incentives, upkeep and life; an empty price counts as zero. `equipment`: the same of one of a site's own machines; so many
    of them as make up the capacity take the place of the prices of their strategy. `offered`: a row per site_id and strategy
    that is offered there; a price in it takes the place of all of the strategy's.

    `investment` [currency] is the price less the incentive, zero for the current strategy, null where a price applies to a
    size that is not known; `investment_basis` says where the price comes from, PUBLISHED what a placeholder is elsewhere,
    `size_assumed` whether it hangs on a size that nobody gave, `priced_below` which machine costs more though it is a part of
    this one. `replacement_cost` is the full price, due after `replaced_after_years` (null: not within the study) and again after
    each of `life_years`. Upkeep of what leaves today's equipment at work (BESIDE_TODAY) includes that of today's. What buys no
    equipment is `without_equipment`, and no `candidate` unless it competes.
    """
    known = ("cooling_capacity_kw", "outdoor_air_l_s")
    size = sites.select(
        "site_id", "equipment_id", "current_strategy", *known, *(is_given(n).alias(f"{n}.given") for n in known)
    )
    on, buys_none = ["site_id", "strategy"], C("strategy").is_in(WITHOUT_EQUIPMENT)
    offers = offered.drop("note").rename(
        {name: f"offer.{name}" for name in offered.columns if name not in (*on, "note")}
    )
    priced = (
        totals.drop(INVESTED, strict=False)
        .join(size, on="site_id", how="left", maintain_order="left")
        .join(_prices(strategies), on="strategy", how="left", maintain_order="left")
        .join(_machines(equipment), on=["equipment_id", "strategy"], how="left", maintain_order="left")
        .join(offers, on=on, how="left", maintain_order="left")
        .with_columns(
            is_current=(C("strategy") == C("current_strategy")).fill_null(False),
            candidate=C("candidate").fill_null(False) & (~buys_none | without_equipment_competes),
            without_equipment=C("candidate").fill_null(False) & buys_none,
            offers_price=pl.any_horizontal(C(f"offer.{name}").is_not_null() for name in OF_OFFER),
        )
        .with_columns(_offered_or_own(name) for name in (*SIZES, *ECONOMY, "investment_fixed"))
        .with_columns(
            upkeep_per_year=pl.coalesce(
                _of_units("own.upkeep_per_year", pl.coalesce(_upkeep_offered(), "upkeep_per_year")), pl.lit(0.0)
            ),
            life_years=pl.coalesce("own.life_years", "offer.life_years", "life_years"),
            price=money(_of_units("own.investment", _price())),
        )
    )
    costed = priced.with_columns(**_first_cost(), offer_id=C("offer.offer_id"))
    upkeep = pl.when(C("strategy").is_in(BESIDE_TODAY) & ~C("is_current")).then(todays("upkeep_per_year"))
    costed = costed.with_columns(C("upkeep_per_year") + upkeep.fill_null(0.0))
    return _beside_inner(costed, strategies).select(*[n for n in totals.columns if n not in INVESTED], *INVESTED)


def todays(name: str) -> pl.Expr:
    """A figure of a site's current strategy, for each of its strategies; null where it has no results."""
    return C(name).filter("is_current").first().over("site_id")


def _prices(strategies: pl.DataFrame) -> pl.DataFrame:
    placeholder = C("note").str.starts_with(PLACEHOLDER).fill_null(False)
    basis = pl.when(placeholder).then(pl.lit(PLACEHOLDER)).otherwise(pl.lit(OF_TABLE))
    prices = ("investment_fixed", *SIZES, *ECONOMY, *PUBLISHED, "incentive_share", "incentive_fixed")
    return strategies.select("strategy", "candidate", *prices, "upkeep_per_year", "life_years", investment_basis=basis)


def _machines(equipment: pl.DataFrame) -> pl.DataFrame:
    own = ("capacity_l_day", "investment", "upkeep_per_year", "life_years", "remaining_life_years")
    return equipment.select("equipment_id", "strategy", C(own).name.prefix("own."))


def _offered_or_own(name: str) -> pl.Expr:
    """A price of the offer where it gives any, else that of the strategies table."""
    return pl.when("offers_price").then(f"offer.{name}").otherwise(name).alias(name)


def _price() -> pl.Expr:
    units = pl.coalesce(C("device_units").cast(pl.Float64), pl.lit(1.0))
    each = pl.when("offers_price").then(C("offer.investment_per_unit").fill_null(0.0) * units).otherwise(0.0)
    terms = [C("investment_fixed").fill_null(0.0), each, *(_price_times_size(p, s) for p, s in SIZES.items())]
    return pl.sum_horizontal(terms, ignore_nulls=False)


def _price_times_size(price: str, size: str) -> pl.Expr:
    """A price of zero asks for no size. With an economy of size the price per size holds at `price_at_size`."""
    rate, there, at = C(price).fill_null(0.0), C(size), C("price_at_size")
    scaled = pl.when(at.is_null()).then(there).otherwise(at * (there / at) ** C("size_exponent"))
    return pl.when(rate == 0.0).then(0.0).otherwise(rate * scaled)


def _upkeep_offered() -> pl.Expr:
    """Upkeep of an offer, null where it gives none."""
    terms = [C("offer.upkeep_per_year"), *(C(f"offer.{name}") * C(size) for name, size in UPKEEP.items())]
    names = ("upkeep_per_year", *UPKEEP)
    return pl.when(pl.any_horizontal(C(f"offer.{name}").is_not_null() for name in names)).then(
        pl.sum_horizontal(term.fill_null(0.0) for term in terms)
    )


def _of_units(of_one: str, otherwise: pl.Expr) -> pl.Expr:
    """An amount of the site's own machine times the number of them; of its strategy where the machine has none."""
    units = (C("device_capacity_l_day") / C("own.capacity_l_day")).round()
    units = pl.when(C("own.capacity_l_day").is_null()).then(1.0).otherwise(units)
    return pl.when(C(of_one).is_not_null()).then(C(of_one) * units).otherwise(otherwise)


def _incentive() -> pl.Expr:
    """What others pay: of the offer where it has any, else of the strategies table; never more than the price."""
    given = pl.any_horizontal(C(f"offer.{name}").is_not_null() for name in INCENTIVES)
    today = {name: todays(name) for name in ("electricity_kwh", "peak_kw")}
    saved = {name: (today[name] - C(name)).clip(0.0).fill_null(0.0) for name in today}
    of_offer = (
        C("offer.incentive_share").fill_null(0.0) * C("price")
        + C("offer.incentive_fixed").fill_null(0.0)
        + C("offer.incentive_per_kwh").fill_null(0.0) * saved["electricity_kwh"]
        + C("offer.incentive_per_kw").fill_null(0.0) * saved["peak_kw"]
    )
    of_table = C("incentive_share").fill_null(0.0) * C("price") + C("incentive_fixed").fill_null(0.0)
    offered = pl.when(given).then(pl.min_horizontal(of_offer, "offer.incentive_cap")).otherwise(of_table)
    return pl.when("is_current").then(0.0).otherwise(money(pl.min_horizontal(offered, "price")))


def _first_cost() -> dict[str, pl.Expr]:
    """What is paid at the start, and later for the same again, from `price`."""
    current, price, remaining = C("is_current"), C("price"), C("own.remaining_life_years")
    incentive = _incentive()
    own_price = C("own.investment").is_not_null()
    quoted = pl.coalesce(C("offer.price_origin") == "quotation", C("offer.is_near"), pl.lit(False))
    basis = (
        pl.when(own_price)
        .then(pl.lit(OF_EQUIPMENT))
        .when("offers_price")
        .then(pl.when(quoted).then(pl.lit(QUOTED)).otherwise(pl.lit(OF_OFFERS)))
        .otherwise("investment_basis")
    )
    bought = ~current & (price > 0.0)
    fixed_size = own_price | C("offer.units").is_not_null()
    hangs = [
        (C("investment_per_l_day").fill_null(0.0) > 0.0) & ~fixed_size,
        (C("offer.investment_per_unit").fill_null(0.0) > 0.0) & ~fixed_size,
        (C("investment_per_kw").fill_null(0.0) > 0.0) & ~C("cooling_capacity_kw.given"),
        (C("investment_per_l_s").fill_null(0.0) > 0.0) & ~C("outdoor_air_l_s.given"),
    ]
    return {
        "investment": pl.when(current).then(0.0).otherwise(money(price - incentive)),
        "incentive": incentive,
        "investment_basis": pl.when(bought).then(basis),
        **_published(bought & (basis == PLACEHOLDER)),
        "size_assumed": pl.when(bought).then(~own_price & pl.any_horizontal(hangs)),
        "replaced_after_years": pl.when(current).then(remaining).otherwise("life_years"),
        "replacement_cost": pl.when(current & remaining.is_null()).then(0.0).otherwise(price),
    }


def _published(placeholder: pl.Expr) -> dict[str, pl.Expr]:
    """Published prices of a placeholder [currency], times the size that its own price goes by."""
    size = pl.coalesce(pl.when(C(rate) > 0.0).then(C(there)) for rate, there in SIZES.items())
    return {name: pl.when(placeholder).then(money(C(name) * size)) for name in PUBLISHED}


def _beside_inner(costed: pl.DataFrame, strategies: pl.DataFrame) -> pl.DataFrame:
    """`priced_below`: the strategy whose machine is a part of this one and yet costs more at the same site."""
    inner = strategies.filter(C("contains").is_not_null()).select("strategy", inner="contains")
    prices = costed.select("site_id", inner="strategy", inner_price="price")
    dearer = (C("inner_price") > C("price")) & C("investment_basis").is_not_null()
    return (
        costed.join(inner, on="strategy", how="left", maintain_order="left")
        .join(prices, on=["site_id", "inner"], how="left", maintain_order="left")
        .with_columns(priced_below=pl.when(dearer).then("inner"))
    )
