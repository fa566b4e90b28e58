"""Tariffs nobody would think of, but without faults: windows cut anywhere, seasons, tiers, demand inside windows."""

from itertools import pairwise

from hypothesis import strategies as st

prices = st.integers(0, 9999).map(lambda n: n / 10_000)
demand = st.one_of(st.just(""), st.integers(0, 4000).map(lambda n: str(n / 100)))


@st.composite
def tables(draw: st.DrawFn, tariff_ids: tuple[str, ...]) -> dict[str, str]:
    """CSV texts of `tariffs`, `tariff_periods` and `tariff_tiers` for these tariffs."""
    tariffs = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\n"
    periods, tiers = "", ""
    for name in tariff_ids:
        tariffs += f"{name},{draw(prices)},{draw(demand)},{draw(prices)}\n"
        for months in _seasons(draw):
            billed_by = draw(st.sampled_from(["own price", "windows", "tiers"]))
            if billed_by == "windows":
                periods += _windows(draw, name, months)
            if billed_by == "tiers":
                tiers += _tiers(draw, name, months)
            if draw(st.booleans()):
                periods += f"{name},,{months},,,,,,{draw(prices)},{draw(prices)}\n"
    found = {"tariffs": tariffs}
    if periods:
        header = "tariff_id,period,months,day_kind,from_hour,to_hour,electricity_price_per_kwh,demand_price_per_kw"
        found["tariff_periods"] = f"{header},fuel_price_per_kwh,electricity_kg_co2_per_kwh\n{periods}"
    if tiers:
        found["tariff_tiers"] = f"tariff_id,months,up_to_kwh,electricity_price_per_kwh\n{tiers}"
    return found


def _seasons(draw: st.DrawFn) -> list[str]:
    """The year cut into one to three spans of months, one of which may run over its end."""
    cuts = draw(st.lists(st.integers(1, 12), max_size=3, unique=True).map(sorted))
    if len(cuts) < 2:
        return ["1-12"]
    ends = [*cuts, cuts[0] + 12]
    return [f"{first}-{(last - 2) % 12 + 1}" for first, last in pairwise(ends)]


def _windows(draw: st.DrawFn, name: str, months: str) -> str:
    """Windows that follow one another round the clock, some without an energy price and some with a demand price."""
    rows = ""
    shared = draw(demand)
    for day_kind in draw(st.sampled_from([("all",), ("working",), ("working", "other")])):
        cuts = draw(st.lists(st.integers(0, 23), min_size=2, max_size=4, unique=True).map(sorted))
        for first, last in pairwise([*cuts, cuts[0]]):
            price = draw(st.one_of(st.just(""), prices.map(str)))
            period, kw = draw(st.sampled_from([("", draw(demand)), ("peak", shared)]))
            if price or kw:
                rows += f"{name},{period},{months},{day_kind},{first},{last},{price},{kw},,\n"
    return rows


def _tiers(draw: st.DrawFn, name: str, months: str) -> str:
    ends = draw(st.lists(st.integers(1, 50_000), max_size=3, unique=True).map(sorted))
    return "".join(f"{name},{months},{end},{draw(prices)}\n" for end in [*ends, ""])
