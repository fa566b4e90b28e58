"""What a site draws beside its air system: how much from its bill or given, when from lights, machines and display cases.

Demand is charged at the meter. A site that tells its bill, or how much it uses beside the air system, has the rest of its
load laid over the year in the shape of what its building type brings into the space: lights and equipment by the hour of
the day while it is open, what is left on while it is closed, and display cases round the clock (common practice, no
source). A slot of the ledger has one such load, so the meter's highest hour in it is the air system's and that load. Days
of a kind count as open where any of them is.
"""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener import calendar

OTHER = "other_kw"
KINDS = (range(calendar.WORKING_DAYS), range(calendar.WORKING_DAYS, len(calendar.WEEK)))
COURSES = ("lights_by_hour", "equipment_by_hour")
Watts = NDArray[np.float64]


def beside(ledger: pl.DataFrame, sites: pl.DataFrame, courses: pl.DataFrame) -> pl.DataFrame:
    """A ledger with `other_kw`, the rest of the site's load in each row [kW], null where nothing says how much that is.

    `sites` are filled, with what the ledger's sites are; `courses`: building_type and COURSES, arrays of 24 working hours and 24
    others about a mean of one.
    """
    here = ledger["site_id"].unique(maintain_order=True)
    own = pl.DataFrame({"site_id": here}).join(sites, on="site_id", how="left", maintain_order="left")
    own = own.join(courses.select("building_type", *COURSES), on="building_type", how="left", maintain_order="left")
    place = dict(zip(here, range(len(here)), strict=True))
    site = ledger["site_id"].replace_strict(place, return_dtype=pl.Int64).to_numpy()
    other = (ledger["day_kind"] == calendar.DAY_KINDS[1]).to_numpy()
    month, hour = (ledger[name].to_numpy().astype(np.int64) for name in ("month", "hour"))
    shape = _watts(own)[site, month - 1, other.astype(np.int64), hour]
    hours = ledger["hours"].cast(pl.Float64).to_numpy()
    whole = np.bincount(site, shape * hours, len(here))
    flat = whole <= 0  # nothing is known to draw anything: round the clock
    shape, whole = np.where(flat[site], 1.0, shape), np.where(flat, np.bincount(site, hours, len(here)), whole)
    level = _used(ledger, own, site) / whole
    return ledger.with_columns(pl.Series(OTHER, shape * level[site]).fill_nan(None).cast(pl.Float32))


def _used(ledger: pl.DataFrame, own: pl.DataFrame, site: NDArray[np.int64]) -> Watts:
    """What each site uses in a year beside its air system [kWh]: as given, or its bill less what today's strategy uses."""
    system = np.zeros(own.height)
    for strategy in own["current_strategy"].drop_nulls().unique():
        if (name := f"{strategy}.electricity_kwh") in ledger.columns:
            sums = np.bincount(site, ledger[name].cast(pl.Float64).fill_null(0.0).to_numpy(), own.height)
            system += np.where((own["current_strategy"] == strategy).fill_null(False).to_numpy(), sums, 0.0)
    bill = own["annual_electricity_kwh"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    given = own["other_load_kwh"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    return np.where(np.isnan(given), np.clip(bill - system, 0.0, None), given)


def _watts(sites: pl.DataFrame) -> Watts:
    """The shape of each site's other load: site, month, kind of day and hour [W]."""
    known = calendar.open_bits(sites)

    def figures(*names: str) -> list[Watts]:
        return [known[name].cast(pl.Float64).fill_null(0.0).to_numpy() for name in names]

    area, gain, lit, closed = figures("floor_area_m2", "internal_gain_w_m2", "lights_w_m2", "closed_gain_fraction")
    internal = gain * area
    lights = np.minimum(lit * area, internal)
    length = figures("open_case_length_m", "door_case_length_m")
    power = figures("open_case_power_w_m", "door_case_power_w_m")
    cases = length[0] * power[0] + length[1] * power[1]
    shares = [np.stack(known[name].to_list()).reshape(-1, 2, 24) for name in COURSES]
    while_open = lights[:, None, None] * shares[0] + (internal - lights)[:, None, None] * shares[1]
    middle = np.arange(24) + 0.5
    opens, closes = (each[:, None] for each in figures("opens_hour", "closes_hour"))
    after, before = middle >= opens, middle < closes
    within = np.where(closes > opens, after & before, after | before)
    open_days, closed_months = (each.astype(np.int64) for each in figures("open_days_bits", "closed_months_bits"))
    on_kind = np.stack([(open_days & int(calendar.bits(days))) > 0 for days in KINDS], axis=1)
    in_month = ((closed_months[:, None] >> np.arange(1, 13)) & 1) == 0
    is_open = in_month[:, :, None, None] & on_kind[:, None, :, None] & within[:, None, None, :]
    left_on = (internal * closed)[:, None, None, None]
    found: Watts = cases[:, None, None, None] + np.where(is_open, while_open[:, None], left_on)
    return found
