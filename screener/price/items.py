"""The items of bills: a line of a tariff in a month of a site, counted with what its classes of hours come to.

Laid out once for all strategies, since they share sites, months and tariffs. Sums of money are whole hundred-millionths, so
that they are the same in any order; an item that a block splits is worked out from exact sums.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from screener import calendar
from screener.price import segments
from screener.price.layout import DAILY, KINDS, Rates

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Numbers = npt.NDArray[np.intp]
FINE = 1e8  # units of an exact sum of money, until it is rounded to cents
LINE_COLUMNS = ("kind", "tariff_id", "charge", "month", "above", "up_to", "per_kw", "counts")
RATCHET_COLUMNS = ("ratchet", "lookback", "ratchet_months")


@dataclass(frozen=True)
class Drawn:
    """What a strategy draws in each class of hours: electricity and fuel [kWh], highest power and highest fuel [kW]; and in
    each month. `other`: what the site uses in a month beside it [kWh], None where nothing asks.

    `meter`: highest power with the rest of the site's load, `alone`: that load's own highest [kW], zero where it is not known;
    None where it is known of no site. `daily`: highest power of a usual day, with that load."""

    electricity: Floats
    fuel: Floats
    power: Floats
    fuel_power: Floats
    month_kwh: Floats
    month_fuel_kwh: Floats
    other: Floats | None
    meter: Floats
    alone: Floats | None
    daily: Floats
    month_meter_kw: Floats
    month_alone_kw: Floats | None


@dataclass(frozen=True)
class Ratchets:
    """Which items a ratchet raises: each to a share of the highest hours of its charge in the months before.

    `chains`: of each item, which charge at which site it is of; `month` 0-11. Of each chain its share, how many months it
    looks back, and the months (from 0) whose highest hours count.
    """

    chains: Numbers
    month: Numbers
    shares: Floats
    reach: Numbers
    counting: npt.NDArray[np.bool_]

    def least(self, peaks: Floats) -> Floats:
        """The power that is billed at least, of each item, from the highest hour in each."""
        highest = np.zeros((len(self.shares), 12))
        highest[self.chains, self.month] = peaks  # the blocks of a charge share its highest hour
        highest = np.where(self.counting, highest, 0.0)
        most = np.zeros_like(highest)
        for back in range(1, int(self.reach.max()) + 1):
            most = np.maximum(most, np.where(self.reach[:, None] >= back, np.roll(highest, back, axis=1), 0.0))
        return (most * self.shares[:, None])[self.chains, self.month]


@dataclass(frozen=True)
class Part:
    """The items of one kind, all in blocks or none. Of each member, a class in an item: its row among the classes, the
    price, and the share of its days on which the item holds. Of each item: where its members begin, its month among the
    months of the sites, its line, its block and what fills it.
    """

    kind: str
    rows: Numbers
    prices: Floats
    shares: Floats
    begins: Numbers
    months: Numbers
    lines: Numbers
    above: Floats
    up_to: Floats
    per_kw: npt.NDArray[np.bool_]
    window: npt.NDArray[np.bool_]
    in_blocks: bool
    in_order: bool
    month_of: Numbers
    first: Numbers  # the items at which a new month begins
    alike: bool  # every item holds all hours of its month at one price
    ratchets: Ratchets | None
    days: Floats  # in the month, of the kind on which demand by the day holds

    @property
    def carrier(self) -> str:
        """Whose bill they stand in."""
        return "fuel" if self.kind.startswith("fuel") else "electricity"

    def amounts(self, drawn: Drawn) -> Whole:
        """What each item comes to [1/FINE]."""
        if self.kind == "energy":
            return self._energy(drawn.electricity, drawn.month_kwh, drawn)
        if self.kind == "fuel":
            return self._energy(drawn.fuel, drawn.month_fuel_kwh, replace(drawn, other=None))
        if self.kind == "fuel_demand":
            return self._demand(drawn.fuel_power)
        if self.kind == DAILY:
            at_meter = self._by_day(drawn.daily)
            return at_meter if drawn.alone is None else at_meter - self._by_day(drawn.alone)
        at_meter = self._demand(drawn.meter)  # of which the rest of the site would pay its own part anyway
        return at_meter if drawn.alone is None else at_meter - self._demand(drawn.alone)

    def _energy(self, kwh: Floats, month_kwh: Floats, drawn: Drawn) -> Whole:
        used = kwh[self.rows]
        if not self.in_blocks:
            return np.add.reduceat(_fine(used * self.prices), self.begins)
        if self.in_order:
            return self._in_order(kwh, month_kwh, drawn)
        return self._evenly(used, month_kwh, drawn)

    def _demand(self, kw: Floats) -> Whole:
        """Of the classes of an item, the one that costs most."""
        power = kw[self.rows]
        if self.ratchets is not None:
            power = np.maximum(power, self._spread(self.ratchets.least(np.maximum.reduceat(power, self.begins))))
        if self.in_blocks:
            above, width = self._blocks_of_members
            power = np.minimum(np.maximum(power - above, 0.0), width)
        return _fine(np.maximum.reduceat(power * self.prices, self.begins))

    def _by_day(self, kw: Floats) -> Whole:
        """The highest of each day, added up: of hours in order as it is, else of so many days alike."""
        power = kw[self.rows]
        if self.in_blocks:
            above, width = self._blocks_of_members
            power = np.minimum(np.maximum(power - above, 0.0), width)
        if not self.in_order:
            return _fine(np.maximum.reduceat(power * self.prices, self.begins) * self.days)
        item = np.repeat(np.arange(len(self.begins)), self._members)
        first = segments.starts_of(item, self.rows // 24)
        return np.add.reduceat(
            _fine(np.maximum.reduceat(power * self.prices, first)), np.searchsorted(first, self.begins)
        )

    def _evenly(self, used: Floats, month_kwh: Floats, drawn: Drawn) -> Whole:
        """The energy that is counted fills the blocks evenly over its hours. Of the whole site's bill it is charged what it adds:
        blocks by the kilowatt grow with the meter's highest hour, for what fills them before too."""
        above, width = self._block(drawn.month_meter_kw)
        before = self._before(drawn)
        filled = _between(before - above, width)
        if drawn.month_alone_kw is not None:
            lower, narrower = self._block(drawn.month_alone_kw)
            filled = np.where(self.per_kw, _between(before - lower, narrower), filled)
        if self.alike:
            counted = month_kwh[self.months]
            inside = _between(before + counted - above, width) - filled
            return _fine(self.prices[self.begins] * inside)
        own = np.add.reduceat(used * self.shares, self.begins)
        counted = np.where(self.window, own, month_kwh[self.months])
        inside = _between(before + counted - above, width) - filled
        priced = np.add.reduceat(used * self.prices, self.begins)
        share = np.divide(inside, counted, out=np.zeros(len(counted)), where=counted > 0)
        price = self.prices[self.begins]
        return _fine(np.where(self._one_price & (own == counted), price * inside, priced * share))

    def _in_order(self, kwh: Floats, month_kwh: Floats, drawn: Drawn) -> Whole:
        """The same, hour by hour, each taking of a block what the hours before it left. Other uses come before all."""
        used = kwh[self.rows]
        through = np.cumsum(used)
        in_window = through - self._spread(through[self.begins] - used[self.begins])
        before_month = np.concatenate([[0.0], np.cumsum(month_kwh)])[self.month_of]
        of_month = (np.cumsum(kwh) - before_month)[self.rows]
        after = np.where(self._spread(self.window.astype(float)) > 0, in_window, of_month) + self._spread(
            self._before(drawn)
        )
        above, width = (self._spread(each) for each in self._block(drawn.month_meter_kw))
        inside = _between(after - above, width) - _between(after - used - above, width)
        return _fine(np.add.reduceat(inside * self.prices, self.begins))

    def _block(self, month_kw: Floats) -> tuple[Floats, Floats]:
        """Where the block of each item begins, and how wide it is."""
        unit = np.where(self.per_kw, month_kw[self.months], 1.0)
        with np.errstate(invalid="ignore"):
            width = np.where(np.isfinite(self.up_to), (self.up_to - self.above) * unit, np.inf)
        return self.above * unit, width

    def _before(self, drawn: Drawn) -> Floats:
        """What fills the blocks of each item before anything else does. Blocks by the kilowatt count the rest of the site only
        where its load is known."""
        if drawn.other is None:
            return np.zeros(len(self.months))
        alone = np.zeros(len(drawn.other)) if drawn.month_alone_kw is None else drawn.month_alone_kw
        left_out = self.window | (self.per_kw & (alone[self.months] <= 0))
        return np.where(left_out, 0.0, drawn.other[self.months])

    @cached_property
    def _members(self) -> Numbers:
        """How many members each item has."""
        return np.diff(np.append(self.begins, len(self.rows)))

    @cached_property
    def _blocks_of_members(self) -> tuple[Floats, Floats]:
        """Where the block of each member begins, and how wide it is."""
        return self._spread(self.above), self._spread(self.up_to - self.above)

    @cached_property
    def _one_price(self) -> npt.NDArray[np.bool_]:
        """Whether the members of each item have one price, on all of their days."""
        highest, lowest = (each.reduceat(self.prices, self.begins) for each in (np.maximum, np.minimum))
        found: npt.NDArray[np.bool_] = (highest == lowest) & (np.minimum.reduceat(self.shares, self.begins) == 1)
        return found

    def _spread(self, of_items: Floats) -> Floats:
        """A figure of each item for each of its members."""
        return np.repeat(of_items, self._members)


@dataclass(frozen=True)
class Items:
    """All items of so many months of sites, in parts."""

    count: int
    parts: list[Part]

    @classmethod
    def of(
        cls, classes: pl.DataFrame, begin: segments.Starts, sites: pl.DataFrame, rates: Rates, in_order: bool = False
    ) -> "Items":
        """The items of sites' `classes` of hours (site, month, class), whose months begin at the rows `begin`. `sites`: theirs,
        with tariff_id. `in_order`: the rows are hours one after another, and fill blocks in that order."""
        month_of = np.repeat(np.arange(len(begin)), np.diff(np.append(begin, classes.height)))
        tariffs = {name: number for number, name in enumerate(rates.times["tariff_id"].unique(maintain_order=True))}
        site = classes["site"].to_numpy()
        most = int(rates.times["class"].max() or 0) + 1  # type: ignore[arg-type]

        def key(tariff: Numbers, of: pl.DataFrame) -> Numbers:
            month, kind = (of[name].to_numpy().astype(np.intp) for name in ("month", "class"))
            found: Numbers = (tariff * 13 + month) * most + kind
            return found

        def numbered(names: pl.Series) -> Numbers:
            return names.replace_strict(tariffs, default=-1, return_dtype=pl.Int64).to_numpy().astype(np.intp)

        keys = key(numbered(rates.members["tariff_id"]), rates.members)
        order = np.argsort(keys, kind="stable")
        wanted = key(numbered(sites["tariff_id"])[site], classes)
        first, last = (np.searchsorted(keys[order], wanted, side) for side in ("left", "right"))
        count = last - first
        rows = np.repeat(np.arange(len(wanted)), count)
        within = np.arange(len(rows)) - np.repeat(np.cumsum(count) - count, count)
        member = order[np.repeat(first, count) + within]
        lines = rates.members["line"].to_numpy().astype(np.intp)[member]
        prices, shares = (rates.members[name].to_numpy()[member] for name in ("price", "share"))
        in_items = np.argsort(month_of[rows] * max(rates.lines.height, 1) + lines, kind="stable")
        rows, lines, prices, shares = (each[in_items] for each in (rows, lines, prices, shares))
        days = np.ones(len(wanted))
        if rates.by_day and not in_order:
            slots = rates.times.group_by("tariff_id", "month", "class").agg(slots=pl.len())
            known = key(numbered(slots["tariff_id"]), slots)
            placed = np.argsort(known)
            count = slots["slots"].to_numpy()[placed[np.searchsorted(known[placed], wanted)]]
            days = classes["hours"].cast(pl.Float64).to_numpy() / count
        about = {name: rates.lines[name] for name in LINE_COLUMNS}
        blocks = ((about["above"] > 0) | about["up_to"].is_finite()).to_numpy()
        parts = []
        for kind in KINDS:
            of_kind = (about["kind"] == kind).to_numpy()
            for in_blocks in (False, True):
                mine = (of_kind & (blocks == in_blocks))[lines]
                if mine.any():
                    members = (rows[mine], lines[mine], prices[mine], shares[mine])
                    parts.append(_part(kind, members, month_of, site, rates, in_blocks, in_order, days))
        return cls(len(begin), parts)

    @property
    def count_all(self) -> bool:
        """Whether blocks count what the whole site uses."""
        return any(bool((~part.window).any()) for part in self.parts if part.kind == "energy" and part.in_blocks)

    def by_month(self, drawn: Drawn) -> dict[str, Whole]:
        """What the items of each kind come to by month [1/FINE]."""
        sums = {kind: np.zeros(self.count, dtype=np.int64) for kind in KINDS}
        for part in self.parts:
            sums[part.kind][part.months[part.first]] += np.add.reduceat(part.amounts(drawn), part.first)
        return sums


def _fine(amounts: Floats) -> Whole:
    return np.rint(amounts * FINE).astype(np.int64)


def _between(amounts: Floats, width: Floats) -> Floats:
    """How much of a block is filled by what lies beyond its beginning."""
    return np.minimum(np.maximum(amounts, 0.0), width)


def _part(
    kind: str,
    members: tuple[Numbers, Numbers, Floats, Floats],
    month_of: Numbers,
    site: Numbers,
    rates: Rates,
    in_blocks: bool,
    in_order: bool,
    days: Floats,
) -> Part:
    """`members`: their rows among the classes, lines, prices and shares. `days` of the month that each class stands for."""
    rows, lines, prices, shares = members
    months = month_of[rows]
    begins = segments.starts_of(months, lines)
    of_items = rates.lines.select(*LINE_COLUMNS, *RATCHET_COLUMNS)[lines[begins]]
    classes = np.bincount(month_of)[months[begins]]
    held = np.diff(np.append(begins, len(rows)))
    same = np.maximum.reduceat(prices, begins) == np.minimum.reduceat(prices, begins)
    ratcheted = kind == "demand" and of_items["ratchet"].is_not_null().any()
    return Part(
        kind=kind,
        rows=rows,
        prices=prices,
        shares=shares,
        begins=begins,
        months=months[begins],
        lines=lines[begins],
        above=of_items["above"].to_numpy(),
        up_to=of_items["up_to"].to_numpy(),
        per_kw=of_items["per_kw"].to_numpy(),
        window=(of_items["counts"] == "window").to_numpy(),
        in_blocks=in_blocks,
        in_order=in_order,
        month_of=month_of,
        first=segments.starts_of(months[begins]),
        alike=bool((same & (classes == held)).all() and (shares == 1).all()),
        days=days[rows[begins]] * shares[begins],
        ratchets=_ratchets(of_items.with_columns(site=site[rows[begins]])) if ratcheted else None,
    )


def _ratchets(items: pl.DataFrame) -> Ratchets:
    """`items`: site and the columns of their lines. All months of a charge share one ratchet."""
    told = items.with_columns(chain=pl.struct("site", "charge").rank("dense").cast(pl.Int64) - 1)
    chains = (
        told.group_by("chain")
        .agg(
            share=pl.col("ratchet").max().fill_null(0.0),
            reach=pl.col("lookback").max().fill_null(0),  # charges without a ratchet stand beside those that have one
            counted=pl.col("ratchet_months").drop_nulls().first(),
        )
        .sort("chain")
    )
    named = {
        text: {*(range(1, 13) if text is None else calendar.months(text) or [])} for text in chains["counted"].unique()
    }
    counting = [[month in named[text] for month in range(1, 13)] for text in chains["counted"]]
    return Ratchets(
        chains=told["chain"].to_numpy().astype(np.intp),
        month=told["month"].to_numpy().astype(np.intp) - 1,
        shares=chains["share"].to_numpy(),
        reach=chains["reach"].to_numpy().astype(np.intp),
        counting=np.array(counting, dtype=np.bool_).reshape(-1, 12),
    )
