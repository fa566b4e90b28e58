"""The items of bills: a line of a tariff in a month of a site, counted with what its classes of hours come to.

Laid out once for all strategies, since they share sites, months and tariffs. Sums of money are whole hundred-millionths, so
that they are the same in any order; an item that a block splits is worked out from exact sums.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from screener import calendar
from screener.price import segments
from screener.price.layout import Rates

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
FINE = 1e8  # units of an exact sum of money, until it is rounded to cents
CLASS = ("tariff_id", "month", "class")
LINE_COLUMNS = ("above", "up_to", "per_kw", "counts", "ratchet", "lookback", "ratchet_months")


@dataclass(frozen=True)
class Kind:
    """The items of one kind. Of each member, a class in an item: its row among the classes and the price; of each item: where
    its members begin, its month among the months of the sites, its block and what fills it, its line."""

    rows: npt.NDArray[np.intp]
    prices: Floats
    begins: segments.Starts
    months: npt.NDArray[np.intp]
    lines: npt.NDArray[np.intp]
    above: Floats
    up_to: Floats
    per_kw: npt.NDArray[np.bool_]
    window: npt.NDArray[np.bool_]
    ratchets: "Ratchets | None"
    month_of: npt.NDArray[np.intp]  # of each row among the classes

    @property
    def in_blocks(self) -> npt.NDArray[np.bool_]:
        """Whether an item holds for a part of what is counted."""
        return (self.above > 0) | np.isfinite(self.up_to)


@dataclass(frozen=True)
class Ratchets:
    """Which items a ratchet raises: each has a share of the highest hours of its charge in other months.

    `chains`: for each item the chain of its charge at its site, -1 for none; `calendar_months` 1-12 of each item;
    `shares`, `reach` [months] and `counting` [item, month] whether a month's highest hour counts.
    """

    chains: npt.NDArray[np.intp]
    calendar_months: npt.NDArray[np.intp]
    shares: Floats
    reach: npt.NDArray[np.intp]
    counting: npt.NDArray[np.bool_]

    def least(self, peaks: Floats) -> Floats:
        """The power that is billed at least, of each item, from the highest hour in each."""
        own = self.chains >= 0
        by_month = np.zeros((int(self.chains.max()) + 1, 12))
        np.maximum.at(by_month, (self.chains[own], self.calendar_months[own] - 1), peaks[own])
        found = np.zeros(len(peaks))
        for back in range(1, 12):
            month = (self.calendar_months - 1 - back) % 12
            counts = own & (self.reach >= back) & self.counting[np.arange(len(peaks)), month]
            found[counts] = np.maximum(found[counts], by_month[self.chains[counts], month[counts]])
        return found * self.shares


@dataclass(frozen=True)
class Items:
    """All items of the months of some sites, by kind. `in_order`: the rows they are of are hours one after another, which fill
    blocks in that order; otherwise classes of hours, which fill them evenly."""

    count: int
    in_order: bool = False
    kinds: dict[str, Kind] = field(default_factory=dict)

    @classmethod
    def of(cls, classes: pl.DataFrame, begin: segments.Starts, rates: Rates, in_order: bool = False) -> "Items":
        """The items of sites' `classes` of hours (site, month, class, tariff_id), whose months begin at the rows `begin`."""
        month_of = np.repeat(np.arange(len(begin)), np.diff(np.append(begin, classes.height)))
        numbered = classes.select("site", *CLASS).with_row_index("at").with_columns(of_month=month_of)
        kind_of = rates.lines.select("line", "kind")
        joined = numbered.join(rates.members, on=CLASS).join(kind_of, on="line").sort("of_month", "line", "at")
        found = {
            str(kind): _kind(part, rates, month_of)
            for (kind,), part in joined.partition_by("kind", as_dict=True, maintain_order=True).items()
        }
        return cls(len(begin), in_order, found)

    @property
    def count_all(self) -> bool:
        """Whether blocks count what the whole site uses."""
        energy = self.kinds.get("energy")
        return energy is not None and bool((energy.in_blocks & ~energy.window & ~energy.per_kw).any())

    def energy(self, kind: str, kwh: Floats, month_kwh: Floats, month_kw: Floats, other: Floats | None) -> Whole:
        """What items of energy come to by month [1/FINE], from the energy of each class and of each month.

        `month_kw`: highest power of each month, for blocks by its hours of use; `other`: what else is used in the month.
        """
        if kind not in self.kinds:
            return np.zeros(self.count, dtype=np.int64)
        return self._by_month(self.kinds[kind], self.of_energy(kind, kwh, month_kwh, month_kw, other))

    def of_energy(self, kind: str, kwh: Floats, month_kwh: Floats, month_kw: Floats, other: Floats | None) -> Whole:
        """What each item of energy comes to [1/FINE]; arguments as for `energy`."""
        if kind not in self.kinds:
            return np.zeros(0, dtype=np.int64)
        mine = self.kinds[kind]
        amounts = np.rint(kwh[mine.rows] * mine.prices * FINE).astype(np.int64)
        found = np.add.reduceat(amounts, mine.begins)
        if mine.in_blocks.any():
            split = _blocks_in_order if self.in_order else _blocks
            found[mine.in_blocks] = split(mine, kwh, month_kwh, month_kw, other)
        return found

    def demand(self, kind: str, kw: Floats) -> Whole:
        """What items of demand come to by month [1/FINE], from the highest power of each class."""
        if kind not in self.kinds:
            return np.zeros(self.count, dtype=np.int64)
        return self._by_month(self.kinds[kind], self.of_demand(kind, kw))

    def of_demand(self, kind: str, kw: Floats) -> Whole:
        """What each item of demand comes to [1/FINE]: of the classes of an item, the one that costs most."""
        if kind not in self.kinds:
            return np.zeros(0, dtype=np.int64)
        mine = self.kinds[kind]
        power = kw[mine.rows]
        if mine.ratchets is not None:
            least = mine.ratchets.least(np.maximum.reduceat(power, mine.begins))
            power = np.maximum(power, _spread(least, mine))
        if mine.in_blocks.any():
            above = _spread(mine.above, mine)
            power = np.clip(power - above, 0.0, _spread(mine.up_to, mine) - above)
        return np.rint(np.maximum.reduceat(power * mine.prices, mine.begins) * FINE).astype(np.int64)

    def _by_month(self, kind: Kind, amounts: Whole) -> Whole:
        first = np.flatnonzero(np.diff(kind.months, prepend=-1))
        sums = np.zeros(self.count, dtype=np.int64)
        sums[kind.months[first]] = np.add.reduceat(amounts, first)
        return sums


def _spread(of_items: Floats, kind: Kind) -> Floats:
    """A figure of each item for each of its members."""
    return np.repeat(of_items, np.diff(np.append(kind.begins, len(kind.rows))))


def _blocks(mine: Kind, kwh: Floats, month_kwh: Floats, month_kw: Floats, other: Floats | None) -> Whole:
    """What the items in blocks come to [1/FINE]: the energy that is counted fills the blocks evenly over its hours."""
    which = mine.in_blocks
    month = mine.months[which]
    own = np.add.reduceat(kwh[mine.rows], mine.begins)[which]
    counted = np.where(mine.window[which], own, month_kwh[month])
    apart = mine.window[which] | mine.per_kw[which]
    before = np.zeros(len(month)) if other is None else np.where(apart, 0.0, other[month])
    unit = np.where(mine.per_kw[which], month_kw[month], 1.0)
    above, up_to = mine.above[which] * unit, np.where(np.isfinite(mine.up_to[which]), mine.up_to[which] * unit, np.inf)
    width = up_to - above
    inside = np.clip(before + counted - above, 0.0, width) - np.clip(before - above, 0.0, width)
    dearest = np.maximum.reduceat(mine.prices, mine.begins)[which]
    cheapest = np.minimum.reduceat(mine.prices, mine.begins)[which]
    priced = np.add.reduceat(kwh[mine.rows] * mine.prices, mine.begins)[which]
    share = np.divide(inside, counted, out=np.zeros(len(month)), where=counted > 0)
    alike = (dearest == cheapest) & (own == counted)
    return np.rint(np.where(alike, dearest * inside, priced * share) * FINE).astype(np.int64)


def _blocks_in_order(mine: Kind, kwh: Floats, month_kwh: Floats, month_kw: Floats, other: Floats | None) -> Whole:
    """The same, hour by hour, each taking of a block what the hours before it left of it. Other uses come before all."""
    counts = np.diff(np.append(mine.begins, len(mine.rows)))
    month = np.repeat(mine.months, counts)
    energy = kwh[mine.rows]
    through = np.cumsum(energy)
    in_window = through - np.repeat(through[mine.begins] - energy[mine.begins], counts)
    of_month = np.cumsum(kwh) - np.concatenate([[0.0], np.cumsum(month_kwh)])[mine.month_of]
    window = np.repeat(mine.window, counts)
    after = np.where(window, in_window, of_month[mine.rows])
    if other is not None:
        after = after + np.where(window | np.repeat(mine.per_kw, counts), 0.0, other[month])
    unit = np.where(mine.per_kw, month_kw[mine.months], 1.0)
    above = np.repeat(mine.above * unit, counts)
    width = np.repeat(np.where(np.isfinite(mine.up_to), mine.up_to * unit, np.inf), counts) - above
    inside = np.clip(after - above, 0.0, width) - np.clip(after - energy - above, 0.0, width)
    return np.rint(np.add.reduceat(inside * mine.prices, mine.begins)[mine.in_blocks] * FINE).astype(np.int64)


def _kind(members: pl.DataFrame, rates: Rates, month_of: npt.NDArray[np.intp]) -> Kind:
    begins = segments.starts(members.select("of_month", "line"))
    first = members[begins]
    lines = first["line"].to_numpy().astype(np.intp)
    of_items = rates.lines.select("tariff_id", "charge", "month", *LINE_COLUMNS)[lines]
    return Kind(
        rows=members["at"].to_numpy().astype(np.intp),
        prices=members["price"].to_numpy(),
        begins=begins,
        months=first["of_month"].to_numpy().astype(np.intp),
        lines=lines,
        above=of_items["above"].to_numpy(),
        up_to=of_items["up_to"].to_numpy(),
        per_kw=of_items["per_kw"].to_numpy(),
        window=(of_items["counts"] == "window").to_numpy(),
        ratchets=_ratchets(of_items.with_columns(first["site"])) if of_items["ratchet"].is_not_null().any() else None,
        month_of=month_of,
    )


def _ratchets(items: pl.DataFrame) -> Ratchets:
    """`items`: site, tariff_id, charge, month and the columns of their lines."""
    share = pl.col("ratchet").max().over("tariff_id", "charge")  # all months of a charge share one
    told = items.with_columns(
        chain=pl.struct("site", "charge").rank("dense") - 1,
        share=share.fill_null(0.0),
        reach=pl.col("lookback").max().over("tariff_id", "charge"),
        counted=pl.col("ratchet_months").drop_nulls().first().over("tariff_id", "charge"),
    )
    texts = told["counted"].unique().to_list()
    named = {text: {*(range(1, 13) if text is None else calendar.months(text) or [])} for text in texts}
    counting = np.array([[month in named[text] for month in range(1, 13)] for text in told["counted"]], dtype=np.bool_)
    has = (told["share"] > 0).to_numpy()
    return Ratchets(
        chains=np.where(has, told["chain"].to_numpy().astype(np.intp), -1),
        calendar_months=told["month"].to_numpy().astype(np.intp),
        shares=told["share"].to_numpy(),
        reach=told["reach"].to_numpy().astype(np.intp),
        counting=counting,
    )
