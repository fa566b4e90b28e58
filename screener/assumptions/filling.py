"""Complete every site from its building type, and remember what was assumed.

Figures per floor area, per 100 m2 or per person become the site's own. Each column of the sites contract gets a partner
`<column>_origin`: "given", "converted", "assumed: <source>", or null where nothing is known (yet).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import polars as pl

from screener import calendar
from screener.contracts import load
from screener.contracts.limits import LIMIT_COLUMNS
from screener.contracts.origins import ASSUMED, CONVERTED, GIVEN
from screener.formula import of_columns
from screener.physics.ventilation import code_rate_l_s

C = pl.col


class Portfolio(Protocol):
    """What this stage needs of a portfolio; `sources` say in words where the figures of `building_types` come from."""

    @property
    def sites(self) -> pl.DataFrame:
        """Good rows of the sites contract, with `row`."""

    @property
    def sites_given(self) -> pl.DataFrame:
        """site_id and, per column of the contract, "given", "converted" or null."""

    @property
    def building_types(self) -> pl.DataFrame:
        """Columns of the building types contract."""

    @property
    def building_type_sources(self) -> pl.DataFrame:
        """The same columns, texts."""


@dataclass(frozen=True)
class Scaled:
    """A site's figure [SI of its column] from columns of its building type, and which of those are its source."""

    figure: pl.Expr
    sources: tuple[str, ...]


# Columns the building type holds under the same name.
SAME = (
    "opens_hour",
    "closes_hour",
    "open_days_per_week",
    "closed_months",
    "cooling_setpoint_c",
    "heating_setpoint_c",
    "infiltration_l_s_m2",
    "thermal_mass",
    "moisture_buffer",
    "exhaust_share",
    "cooling_cop",
    "heating_source",
    "supply_fan",
    "fan_beside_unit",
    "re_evaporation",
    "current_strategy",
    "limit_step_k",
    "lockout_below_limit_k",
    "door_heaters",
)
# In this order: outdoor air counts the people found before it.
SCALED: Mapping[str, Scaled] = {
    "peak_occupants": Scaled(C("occupants_per_100_m2") * C("floor_area_m2") / 100, ("occupants_per_100_m2",)),
    "outdoor_air_l_s": Scaled(
        of_columns(code_rate_l_s, "peak_occupants", "floor_area_m2", "outdoor_air_l_s_person", "outdoor_air_l_s_m2"),
        ("outdoor_air_l_s_person", "outdoor_air_l_s_m2"),
    ),
    "process_moisture_kg_h": Scaled(
        C("process_moisture_g_h_m2") / 1000 * C("floor_area_m2"), ("process_moisture_g_h_m2",)
    ),
    "open_case_length_m": Scaled(C("open_case_m_per_100_m2") * C("floor_area_m2") / 100, ("open_case_m_per_100_m2",)),
    "door_case_length_m": Scaled(C("door_case_m_per_100_m2") * C("floor_area_m2") / 100, ("door_case_m_per_100_m2",)),
}


def fill(portfolio: Portfolio) -> pl.DataFrame:
    """One row per good site: columns of sites and of its building type, the empty ones filled, and where each is from.

    `cooling_capacity_kw` and `cooling_units` stay empty where they are not given: they are sized later. Exactly one of the
    two humidity limits is left. `based_on` is the shipped type that a type of the portfolio's own starts from.
    """
    frame = _beside_type(portfolio).with_columns(_counted_days(portfolio.sites))
    frame = frame.with_columns(_closed_infiltration())
    limited = pl.any_horizontal(C(name).is_not_null() for name in LIMIT_COLUMNS)
    limits = [pl.when(limited).then(C(name)).otherwise(C(_typical(name))).alias(name) for name in LIMIT_COLUMNS]
    assumed_limits = [
        _assumed(name, (_typical(name),), ~limited & C(_typical(name)).is_not_null()) for name in LIMIT_COLUMNS
    ]
    frame = frame.with_columns(*assumed_limits, *limits)
    frame = frame.with_columns(e for name in SAME for e in _filled(name, Scaled(C(_typical(name)), (_typical(name),))))
    for name, scaled in SCALED.items():
        frame = frame.with_columns(_filled(name, scaled))
    noted = C("row_note") if "row_note" in portfolio.sites.columns else pl.lit(None, pl.String)
    frame = frame.with_columns(name=pl.coalesce("name", "site_id"), row_note=noted)
    return frame.select(_order(portfolio))


def _typical(name: str) -> str:
    """The building type's column of a name that sites have too."""
    return f"{name}:type"


def _beside_type(portfolio: Portfolio) -> pl.DataFrame:
    """Sites beside the figures of their type (`:type` where names meet), their sources (`:source`), and origins."""
    sites, types, sources = portfolio.sites, portfolio.building_types, portfolio.building_type_sources
    own = set(sites.columns) - {"building_type"}
    types = types.rename(lambda name: _typical(name) if name in own else name)
    sources = sources.drop("based_on").rename(
        lambda name: f"{_typical(name) if name in own else name}:source" if name != "building_type" else name
    )
    given = portfolio.sites_given.rename(lambda name: f"{name}_origin" if name != "site_id" else name)
    return (
        sites.join(given, on="site_id", how="left", maintain_order="left")
        .with_columns(site_id_origin=pl.lit(GIVEN))
        .join(types, on="building_type", how="left", maintain_order="left")
        .join(sources, on="building_type", how="left", maintain_order="left")
    )


def _counted_days(sites: pl.DataFrame) -> list[pl.Expr]:
    """How many days a week a site opens that names its days."""
    name, counts = "open_days_per_week", {}
    for text in sites["open_days"].drop_nulls().unique():
        counts[text] = len({*(calendar.days(text) or [])} - {calendar.HOLIDAY})
    counted = C("open_days").replace_strict(counts, default=None, return_dtype=pl.Int64)
    origin = f"{name}_origin"
    named = C(name).is_null() & C("open_days").is_not_null()
    return [
        pl.coalesce(name, counted).alias(name),
        pl.when(named).then(pl.lit(CONVERTED)).otherwise(origin).alias(origin),
    ]


def _closed_infiltration() -> pl.Expr:
    """A site's own infiltration keeps its type's ratio of closed to open hours."""
    name, closed = "infiltration_l_s_m2", C("infiltration_closed_l_s_m2")
    own = C(name).is_not_null() & (C(_typical(name)) > 0)
    return pl.when(own).then(closed * C(name) / C(_typical(name))).otherwise(closed).alias("infiltration_closed_l_s_m2")


def _filled(name: str, scaled: Scaled) -> list[pl.Expr]:
    """A column and its origin, filled where the site leaves it empty."""
    return [_assumed(name, scaled.sources, C(name).is_null()), pl.coalesce(name, scaled.figure).alias(name)]


def _assumed(name: str, sources: tuple[str, ...], where: pl.Expr) -> pl.Expr:
    """The origin of a column: as it was, or "assumed" with the sources of its figures, each named once."""
    parts = [C(f"{source}:source") for source in sources]
    texts = [parts[0]]
    for part, before in zip(parts[1:], parts, strict=False):
        texts.append(pl.when(part == before).then(pl.lit("")).otherwise(pl.concat_str(pl.lit("; "), part)))
    told = pl.concat_str(pl.lit(f"{ASSUMED}: "), *texts)
    return pl.when(where).then(told).otherwise(f"{name}_origin").alias(f"{name}_origin")


def _order(portfolio: Portfolio) -> list[str]:
    sites = load("sites").columns
    types = [name for name in portfolio.building_types.columns if name not in sites]
    return ["row", "row_note", *sites, *types, *[f"{name}_origin" for name in sites]]
