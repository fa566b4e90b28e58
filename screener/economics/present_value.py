"""Money over time: the factors of NIST Handbook 135, when equipment is bought again, and what is left of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any


@dataclass(frozen=True)
class Terms:
    """How money is reckoned over time: rates a year [1/a], the study period in years.

    Where the rates are nominal, `inflation` is the general rise of prices in them; where they are real, it is zero.
    """

    discount_rate: float
    study_years: int
    inflation: float = 0.0
    electricity_escalation: float = 0.0
    fuel_escalation: float = 0.0

    def electricity(self, years: int) -> float:
        """Present value of electricity for 1 a year, at today's price, over the first `years`."""
        return uniform_present_value(self.discount_rate, years, self.electricity_escalation)

    def fuel(self, years: int) -> float:
        """Present value of fuel for 1 a year, at today's price, over the first `years`."""
        return uniform_present_value(self.discount_rate, years, self.fuel_escalation)

    def upkeep(self, years: int) -> float:
        """Present value of 1 a year, at today's price of things in general, over the first `years`."""
        return uniform_present_value(self.discount_rate, years, self.inflation)

    def once(self, year: float) -> float:
        """Present value of what costs 1 today, bought after `year` years."""
        return single_present_value(self.discount_rate, year, self.inflation)


def terms(settings: Mapping[str, Any]) -> Terms:
    """The terms in a portfolio's settings; energy that has no escalation of its own rises with inflation."""
    inflation = settings["inflation"] or 0.0
    electricity, fuel = settings["electricity_escalation"], settings["fuel_escalation"]
    return Terms(
        discount_rate=settings["discount_rate"],
        study_years=settings["study_years"],
        inflation=inflation,
        electricity_escalation=inflation if electricity is None else electricity,
        fuel_escalation=inflation if fuel is None else fuel,
    )


def single_present_value(rate: float, years: float, escalation: float = 0.0) -> float:
    """Present value of 1 paid after `years` [a] at `rate` [1/a], its price rising by `escalation` [1/a].

    Without escalation the SPV factor of NIST Handbook 135.
    """
    return float(((1.0 + escalation) / (1.0 + rate)) ** years)


def uniform_present_value(rate: float, years: int, escalation: float = 0.0) -> float:
    """Present value of 1 at today's price, paid at the end of each of `years` [a] and rising by `escalation` [1/a].

    The UPV factor of NIST Handbook 135 without escalation, its modified UPV (UPV*) with it; `rate` is the discount rate
    [1/a].
    """
    return sum(single_present_value(rate, float(year), escalation) for year in range(1, years + 1))


def replacement_years(first: float, life: float, study: float) -> list[float]:
    """When equipment is bought again within `study` years: after its `first` years, then at the end of each `life`."""
    number = max(0, ceil((study - first) / life - 1e-9))
    return [first + count * life for count in range(number)]


def residual_share(first: float, life: float, study: float) -> float:
    """Part of its price that the equipment in use at the end of the study is worth: straight line by remaining life."""
    end_of_life = first + len(replacement_years(first, life, study)) * life
    return min(1.0, (end_of_life - study) / life)
