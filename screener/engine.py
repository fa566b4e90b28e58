"""Gains, sizing, strategies and ledger put together: every hour of every site, a batch of sites at a time.

The stages know nothing of one another; here their steps become the two worksheets that are worked out, one for any hour
and one for the damp ones, and the columns go from one to the next.
"""

from collections.abc import Iterator, Sequence

import polars as pl

from screener import ledger, loads, sizing, strategies
from screener.strategies import REFERENCE, REGISTRY
from screener.worksheet import Worksheet

BATCH_SITES = 150  # some 600 000 hours: enough to keep the cores busy, little enough to stay well below 1 GB
DEVICES = tuple(s.name for s in REGISTRY.values() if s.has_device)
WEATHER = ("outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
ACCOUNTED = ("slot", "weight_h", "damp", "limit_humidity_ratio", "moisture_at_limit_kg_s")


def size(sites: pl.DataFrame, conditions: pl.DataFrame, equipment: pl.DataFrame) -> pl.DataFrame:
    """Sites as the engine needs them: terms of their loads, what their equipment can do, what they cannot have."""
    design = sizing.design_hours(sites, conditions)
    peak = loads.site_terms(sites, at_peak=True)
    gains = Worksheet()
    loads.steps(gains, fan_w=pl.lit(0.0))
    design_loads = gains.apply(design.lazy().join(peak.lazy(), on="site_id")).collect()
    sized = sizing.size_coil(loads.site_terms(sites), design_loads, equipment)
    sized = sized.with_columns(s.unavailable.alias(f"{s.name}.unavailable") for s in REGISTRY.values())
    any_hour, damp_hour = plan(DEVICES)
    at_peak = sizing.size_coil(peak, design_loads, equipment)
    worked = damp_hour.apply(any_hour.apply(design.lazy().join(at_peak.lazy(), on="site_id"))).collect()
    return sizing.size_devices(sized, worked, DEVICES)


def plan(names: Sequence[str] = tuple(REGISTRY)) -> tuple[Worksheet, Worksheet]:
    """The worksheet of any hour (gains, the reference) and the one of damp hours (every other strategy)."""
    chosen = [REGISTRY[name] for name in names if name != REFERENCE.name]
    any_hour, damp_hour = Worksheet(), Worksheet()
    loads.steps(any_hour, fan_w=pl.col("fan_w"))
    strategies.add_reference(any_hour, REFERENCE)
    strategies.add_standing(any_hour, chosen)
    strategies.add_damp_hours(damp_hour, chosen)
    return any_hour, damp_hour


def simulate(
    sized: pl.DataFrame, hours: pl.DataFrame, names: Sequence[str] = tuple(REGISTRY)
) -> Iterator[ledger.Accounts]:
    """Work out every hour of every site with every strategy, a batch of sites at a time."""
    any_hour, damp_hour = plan(names)
    sites, weather = with_keys(sized, hours)
    accounts = [name for s in names for name in ledger.wanted(s) if any_hour.has(name) or damp_hour.has(name)]
    kept = {*damp_hour.inputs(), *accounts, *ACCOUNTED}
    for batch in sites.iter_slices(BATCH_SITES):
        terms = batch.lazy().select(_among(batch.columns, {*any_hour.inputs(), "site", "weather_key"}))
        hourly = any_hour.apply(terms.join(weather.lazy(), on="weather_key", maintain_order="left_right"))
        hourly = hourly.select("site", *_among([*weather.columns, *any_hour.names()], kept))
        every = hourly.collect(engine="streaming")
        # most hours are not damp: what only damp ones need of the site is joined to those alone
        terms = batch.lazy().select("site", *_among(batch.columns, {*damp_hour.inputs(), *ACCOUNTED}))
        damp = damp_hour.apply(every.lazy().filter("damp").join(terms, on="site", maintain_order="left"))
        damp_hours = damp.select("site", *ACCOUNTED, *accounts).collect(engine="streaming")
        yield ledger.accumulate(every, damp_hours, batch, names, REFERENCE.name)


def _among(names: Sequence[str], wanted: set[str]) -> list[str]:
    return [name for name in names if name in wanted]


def with_keys(sized: pl.DataFrame, hours: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Sites and hours with whole-number keys: joining and grouping by text costs more than the physics."""
    keys = hours.group_by("weather_id").agg(hours_of_site=pl.len()).sort("weather_id").with_row_index("weather_key")
    sites = sized.join(keys, on="weather_id", how="left", maintain_order="left").with_row_index("site")
    weather = hours.join(keys.drop("hours_of_site"), on="weather_id", maintain_order="left")
    weather = weather.select("weather_key", ledger.slot(), "hour", "day_of_week", "weight_h", *WEATHER)
    return sites, weather.sort("weather_key", "slot", maintain_order=True)
