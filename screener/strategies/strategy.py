"""What a strategy is, what it must say of an hour and of its equipment, and how the hours with nothing to do are filled in."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields
from difflib import get_close_matches
from typing import Protocol

from screener.contracts.end_uses import CARRIERS, POWERS_W, powers_of
from screener.contracts.hour import Treated
from screener.errors import ResultsError
from screener.formula import Formula, Number, Value, col, literal, summed, when
from screener.worksheet import Worksheet

NOTHING = literal(0.0)


@dataclass(frozen=True)
class Outcome:
    """One hour of the air system; every field a column, power in W, flows in kg/s.

    Electricity: compressor (with condenser fan), supply fans, dehumidifying device, reheat, heating.
    Fuel: reheat, regeneration, heating. The rest closes the balances of the space at `space_c` and `humidity_ratio`:
    S(space_c) + reheat_w + device_heat_w + heating_w = coil_sensible_w + unmet_cooling_w, and
    M(humidity_ratio) = coil_kg_s + device_kg_s + condenses_kg_s, the last where the space would be damper than fog.
    """

    space_c: Number
    humidity_ratio: Number
    coil_sensible_w: Number
    coil_kg_s: Number
    condenses_kg_s: Number
    compressor_w: Number
    fans_w: Number
    heating_w: Number
    heating_electricity_w: Number
    heating_fuel_w: Number
    unmet_cooling_w: Number
    device_kg_s: Number = NOTHING
    device_heat_w: Number = NOTHING
    dehumidifier_w: Number = NOTHING
    reheat_w: Number = NOTHING
    reheat_electricity_w: Number = NOTHING
    reheat_fuel_w: Number = NOTHING
    regeneration_fuel_w: Number = NOTHING


FIELDS = tuple(field.name for field in fields(Outcome))
if strangers := {*POWERS_W} - {*FIELDS}:
    raise TypeError(f"end uses that no hour has: {', '.join(sorted(strangers))}")


class Machine(Protocol):
    """What the equipment table says of the machine a site names, where that serves the strategy; blanks where it does not."""

    def figure(self, column: str) -> Formula:
        """A column of the equipment table. KeyError where it has no such column."""

    def figure_or(self, column: str, usual: Number) -> Formula:
        """The same, with what is usual where it is blank."""


@dataclass(frozen=True)
class Device:
    """Equipment with a capacity of its own, by which a strategy is sized and limited.

    It is sized by the water it would take at the design hours if nothing limited it. `limits`: by name the column of a
    site that `damp_hour` reads as the most water the device can take [kg/s], and how many times its rated capacity that
    is; an empty mapping says that something else holds it back. `at_design`: water it takes at the site over that at its
    rating, so that capacities are those of the rating.
    """

    limits: Mapping[str, Number]
    at_design: Number


Rate = Callable[[Worksheet, Machine], None]


@dataclass(frozen=True, kw_only=True)
class Strategy:
    """All of a strategy; nothing has a default, so that nothing is forgotten.

    `name` and `summary`, what it is in a line. `ventilation` says what it does to the ventilation air in any hour, damp or not:
    the temperature control that the hour begins with is then worked out with air so treated, if it is laid out alone (one with
    a device is also sized beside others, with air as it comes); None where it comes as it is.
    `own_fan` is the heat [W] of a fan that the ventilation air has of its own, on while the site is open, beside which that of
    the rooftop units may cycle; None where there is none. `resists` is what the supply fan draws more while it runs [W], for
    equipment in its air; None where there is none.
    `rate` adds to the worksheet of a site, under the strategy's name, the figures of its equipment that the hour needs.
    `damp_hour` adds its steps to the worksheet of an hour and returns the outcome of an hour that temperature control alone
    leaves above the limit. `standby` says what the equipment draws, or saves, in every other hour: power [W] beside that of
    the reference by field of Outcome. `device` is its equipment with a capacity, None where it has none. `needs` is what of
    `contracts.needs` a site must have for it. `unavailable` is text where a site cannot have it, `note` text where there is
    something to know of it, over the columns of a site, None elsewhere. `sets`: of a strategy that buys no equipment and
    changes how today's is run, the columns of a filled site that it sets otherwise; None for all others.
    """

    name: str
    summary: str
    ventilation: Callable[[Worksheet], Treated] | None
    own_fan: Callable[[], Number] | None
    resists: Callable[[], Number] | None
    rate: Rate
    damp_hour: Callable[[Worksheet], Outcome]
    standby: Callable[[Worksheet], Mapping[str, Number]]
    device: Device | None
    needs: Collection[str]
    unavailable: Value
    note: Value
    sets: Mapping[str, Value] | None


def as_installed(own: Worksheet, machine: Machine) -> None:
    """The `rate` of a strategy that needs no figures beyond those of the installed coil."""


def nothing(own: Worksheet) -> Mapping[str, Number]:
    """The `standby` of equipment that draws and saves nothing in dry hours."""
    return {}


def add_reference(sheet: Worksheet, reference: Strategy) -> None:
    """Add any hour of the reference and `damp`, which says whether it leaves the space above its limit."""
    with _naming(reference):
        _add_outcome(sheet.section(reference.name), reference.damp_hour(sheet))
    sheet.let("damp", col(f"{reference.name}.humidity_ratio") > col("limit_humidity_ratio"), "above the limit")


def add_standby(sheet: Worksheet, strategies: Iterable[Strategy]) -> None:
    """Add what equipment draws or saves in an hour that is not damp: `<strategy>.standby.<field>` and its carriers.

    ResultsError for a power that no hour has.
    """
    for strategy in strategies:
        section = sheet.section(f"{strategy.name}.standby")
        with _naming(strategy):
            powers = {_power(name): section.let(name, power) for name, power in strategy.standby(section).items()}
        for carrier in CARRIERS:
            if used := [powers[power] for power in powers_of(carrier) if power in powers]:
                section.let(f"{carrier}_w", summed(used))


def add_damp_hours(sheet: Worksheet, strategies: Iterable[Strategy]) -> None:
    """Add the damp hour of each strategy: `<strategy>.<field of Outcome>`, `.electricity_w` and `.fuel_w`."""
    for strategy in strategies:
        with _naming(strategy):
            _add_outcome(sheet.section(strategy.name), strategy.damp_hour(sheet))


def add_hour(any_hour: Worksheet, sheet: Worksheet, strategy: Strategy, reference: Strategy) -> None:
    """Add what the hour comes to with the strategy, `hour.<field of Outcome>`, `.electricity_w`, `.fuel_w` and `.standby_w`:
    in a damp hour what it does, in any other what the reference does and what its equipment draws or saves beside."""
    there, own = {*any_hour.names(), *sheet.names()}, sheet.section("hour")
    acts = strategy.name != reference.name

    def of(name: str, section: str) -> Formula:
        return col(f"{section}.{name}") if f"{section}.{name}" in there else NOTHING

    standby = summed([of(name, f"{strategy.name}.standby") for name in POWERS_W])
    own.let("standby_w", when(col("damp")).then(0.0).otherwise(standby) if acts else NOTHING)
    for name in (*FIELDS, *(f"{carrier}_w" for carrier in CARRIERS)):
        rests, damp = of(name, reference.name), of(name, strategy.name)
        beside = of(name, f"{strategy.name}.standby")
        if rests is damp is beside is NOTHING:
            continue
        rests = rests if beside is NOTHING else rests + beside
        own.let(name, when(col("damp")).then(damp).otherwise(rests) if acts else rests)


def check_limits(sheet: Worksheet, strategies: Iterable[Strategy]) -> None:
    """ResultsError for a device whose hour does not read what limits it, so that nothing would."""
    read = sheet.inputs()
    for strategy in strategies:
        for limit in strategy.device.limits if strategy.device else ():
            if f"{strategy.name}.{limit}" not in read:
                raise ResultsError(f"the strategy {strategy.name} is limited by {limit}, which its hour does not read")


def add_equipment(sheet: Worksheet, strategy: Strategy, machine: Machine) -> None:
    """Add the figures of a strategy's equipment and its two texts to the worksheet of a site, under its name."""
    own = sheet.section(strategy.name)
    with _naming(strategy):
        strategy.rate(own, machine)
        own.let("note", strategy.note, "what to know of it here")
        own.let("unavailable", strategy.unavailable, "why it cannot be had here")


def _power(name: str) -> str:
    if name in POWERS_W:
        return name
    close = get_close_matches(name, POWERS_W, n=1) or POWERS_W
    raise KeyError(f"standby names {name}, which is no power of an hour; did it mean {' or '.join(close)}?")


@contextmanager
def _naming(strategy: Strategy) -> Iterator[None]:
    """ResultsError, naming the strategy, where its steps cannot be put together."""
    try:
        yield
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        told = error.args[0] if error.args else error
        raise ResultsError(f"the strategy {strategy.name} cannot be laid out: {told}; mend its file") from error


def _add_outcome(section: Worksheet, outcome: Outcome) -> None:
    named = {name: _named(section, name, literal(getattr(outcome, name))) for name in FIELDS}
    for carrier in CARRIERS:
        used = [named[power] for power in powers_of(carrier) if named[power] is not NOTHING]
        section.let(f"{carrier}_w", summed(used) if used else NOTHING)


def _named(section: Worksheet, name: str, formula: Formula) -> Formula:
    """A column of this name; what is always nothing stays nothing and costs no column."""
    return formula if formula is NOTHING else section.let(name, formula)
