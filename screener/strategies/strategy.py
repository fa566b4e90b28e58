"""What a strategy is, what it must say of an hour, and how the hours with nothing to do are filled in."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields

import polars as pl

from screener.exact import in_order
from screener.worksheet import Worksheet

NOTHING = pl.lit(0.0)


@dataclass(frozen=True)
class Outcome:
    """One hour of the air system; every field a column, power in W, flows in kg/s.

    Electricity: compressor (with condenser fan), supply fans, dehumidifying device, reheat, heating.
    Fuel: reheat, regeneration, heating. The rest closes the balances of the space at `space_c` and `humidity_ratio`:
    S(space_c) + reheat_w + device_heat_w + heating_w = coil_sensible_w + unmet_cooling_w, and
    M(humidity_ratio) = coil_kg_s + device_kg_s + condenses_kg_s, the last where the space would be damper than fog.
    """

    space_c: pl.Expr
    humidity_ratio: pl.Expr
    coil_sensible_w: pl.Expr
    coil_kg_s: pl.Expr
    condenses_kg_s: pl.Expr
    compressor_w: pl.Expr
    fans_w: pl.Expr
    heating_w: pl.Expr
    heating_electricity_w: pl.Expr
    heating_fuel_w: pl.Expr
    unmet_cooling_w: pl.Expr
    device_kg_s: pl.Expr = NOTHING
    device_heat_w: pl.Expr = NOTHING
    dehumidifier_w: pl.Expr = NOTHING
    reheat_w: pl.Expr = NOTHING
    reheat_electricity_w: pl.Expr = NOTHING
    reheat_fuel_w: pl.Expr = NOTHING
    regeneration_fuel_w: pl.Expr = NOTHING


ELECTRICITY = ("compressor_w", "fans_w", "dehumidifier_w", "reheat_electricity_w", "heating_electricity_w")
FUEL = ("reheat_fuel_w", "regeneration_fuel_w", "heating_fuel_w")


@dataclass(frozen=True)
class Strategy:
    """A strategy's name, what it is in a line, and its hour.

    `damp_hour` adds its steps to the worksheet and returns the outcome of an hour that temperature control alone leaves
    above the limit. `standing` says what the equipment draws, or saves, in every other hour: power [W] beside that of the
    reference by field of Outcome. `unavailable` is text where a site cannot have it, null elsewhere, over the columns of
    a site. A strategy that `has_device` is sized by the water it would take at the design hours.
    """

    name: str
    summary: str
    damp_hour: Callable[[Worksheet], Outcome]
    standing: Callable[[Worksheet], Mapping[str, pl.Expr]] = lambda _: {}
    has_device: bool = False
    unavailable: pl.Expr = field(default_factory=lambda: pl.lit(None, dtype=pl.String))


def add_reference(sheet: Worksheet, reference: Strategy) -> None:
    """Add any hour of the reference and `damp`, which says whether it leaves the space above its limit."""
    _add_outcome(sheet.section(reference.name), reference.damp_hour(sheet))
    sheet.let("damp", pl.col(f"{reference.name}.humidity_ratio") > pl.col("limit_humidity_ratio"), "above the limit")


def add_standing(sheet: Worksheet, strategies: Iterable[Strategy]) -> None:
    """Add what equipment draws or saves in an hour that is not damp: `<strategy>.standing.<field>` and its carriers."""
    for strategy in strategies:
        section = sheet.section(f"{strategy.name}.standing")
        powers = {name: section.let(name, power) for name, power in strategy.standing(section).items()}
        for total, parts in (("electricity_w", ELECTRICITY), ("fuel_w", FUEL)):
            if used := [powers[part] for part in parts if part in powers]:
                section.let(total, in_order(used))


def add_damp_hours(sheet: Worksheet, strategies: Iterable[Strategy]) -> None:
    """Add the damp hour of each strategy: `<strategy>.<field of Outcome>`, `.electricity_w` and `.fuel_w`."""
    for strategy in strategies:
        _add_outcome(sheet.section(strategy.name), strategy.damp_hour(sheet))


def _add_outcome(section: Worksheet, outcome: Outcome) -> Outcome:
    named = Outcome(**{f.name: _named(section, f.name, getattr(outcome, f.name)) for f in fields(Outcome)})
    for total, parts in (("electricity_w", ELECTRICITY), ("fuel_w", FUEL)):
        used = [getattr(named, part) for part in parts if not getattr(named, part).meta.eq(NOTHING)]
        section.let(total, in_order(used) if used else NOTHING)
    return named


def _named(section: Worksheet, name: str, expr: pl.Expr) -> pl.Expr:
    """A column of this name; what is always nothing stays nothing and costs no column."""
    return expr if expr.meta.eq(NOTHING) else section.let(name, expr)
