"""Heat and moisture stored from one hour to the next, against exact solutions of the same two balances and facts of the trade."""

import math

import numpy as np
import polars as pl
import pytest

from screener import climate, engine, ledger, loads
from screener.physics import psychrometrics as air
from screener.strategies import REFERENCE, REGISTRY
from screener.worksheet.hours import Hours
from tests.engine_cases import STATIONS, filled, in_sequence, sized

STORAGE = ("air_storage_w_k", "mass_exchange_w_k", "moisture_storage_kg_s")
HALL = {"building_type": "warehouse", "floor_area_m2": 2500.0, "station": STATIONS["Houston"]}


def totals(sites: pl.DataFrame, hours: pl.DataFrame, step: int = 1) -> pl.DataFrame:
    """The year's accounts of sized sites, with the hours in their order, or with -1 from the last to the first."""
    years = {
        key: Hours(year.columns[:, ::step].copy(), year.slots[::step].copy())
        for key, year in engine.years(hours).items()
    }
    batches = list(engine.simulate(sites, years))
    return ledger.totals(pl.concat([b.years for b in batches]), tuple(REGISTRY), REFERENCE.name)


def steady(hours: pl.DataFrame, outdoor_c: float, humidity_ratio: float, count: int = 240) -> pl.DataFrame:
    """So many hours of the same weather without sun."""
    same = (pl.lit(outdoor_c).alias("outdoor_c"), pl.lit(humidity_ratio).alias("outdoor_humidity_ratio"))
    return hours.head(count).with_columns(*same, irradiance_w_m2=pl.lit(0.0))


def quiet(**row: float) -> pl.DataFrame:
    """A hall that is never open, without gains, a coil that never runs, and wide set points: it floats."""
    wide = {
        "cooling_setpoint_c": 40.0,
        "heating_setpoint_c": 5.0,
        "humidity_limit_rh_pct": 95.0,
        "open_days_per_week": 0,
    }
    return filled([HALL | wide | row]).with_columns(internal_gain_w_m2=pl.lit(0.0))


def test_humidity_decays_as_the_exact_solution_says() -> None:
    """One capacity behind one exchange of air: W - Wo falls as exp(-t/tau), tau = Cw/m. Implicit steps of an hour fall by
    1/(1 + dt/tau) each, exactly, and lie within a few hours' worth of the exponential."""
    sites = quiet(moisture_buffer=20.0)
    hours = steady(climate.hours([STATIONS["Houston"]]), 20.0, 0.004)
    rows = in_sequence(sites, hours, REFERENCE.name)
    site = rows.row(0, named=True)
    tau_h = site["moisture_storage_kg_s"] / site["air_kg_s"]
    # cut off from the warm-up: from any hour on it is the same curve
    w = rows["hour.humidity_ratio"].to_numpy() - 0.004
    assert w[10] > 1e-7
    assert w[1:40] / w[:39] == pytest.approx(np.full(39, 1 / (1 + 1 / tau_h)), rel=1e-6)
    assert tau_h > 5
    assert w[int(tau_h)] / w[0] == pytest.approx(math.exp(-int(tau_h) / tau_h), abs=0.05)


def test_temperature_swings_as_the_exact_solution_says() -> None:
    """Two capacities in a row under a daily wave outdoors (complex amplitudes of the same circuit, exact): damped to within
    3 % of the outdoor swing and late by no more than half an hour more."""
    sites = quiet()
    hours = climate.hours([STATIONS["Houston"]]).head(24 * 30)
    t = np.arange(hours.height)
    wave = pl.Series(22.0 + 8.0 * np.cos(2 * np.pi * (t + 1) / 24))
    hours = steady(hours, 0.0, 0.005, hours.height).with_columns(outdoor_c=wave)
    rows = in_sequence(sites, hours, REFERENCE.name)
    site = rows.row(0, named=True)
    omega = 2 * np.pi / 24  # per hour; conductances in W/K, capacities in W h/K
    k = site["envelope_w_k"] + site["air_kg_s"] * air.CP_MOIST_AIR
    into_mass = 1 / (1 / site["surface_w_k"] + 1 / (1j * omega * site["mass_storage_w_k"]))
    exact = k / (k + 1j * omega * site["air_storage_w_k"] + into_mass)
    swing = rows["hour.space_c"].to_numpy()[-24 * 10 :]
    found = 2 * np.mean((swing - swing.mean()) * np.exp(-1j * omega * (t[-24 * 10 :] + 1))) / 8.0
    assert 0.05 < abs(exact) < 0.9
    assert abs(found) == pytest.approx(abs(exact), abs=0.03)
    lag_h = [-np.angle(each) / omega for each in (found, exact)]
    assert lag_h[0] == pytest.approx(lag_h[1], abs=0.75)


def test_what_is_stored_comes_back() -> None:
    """Over the year the stores give what they took, but for the difference between its ends; every hour closes with them."""
    sites = filled([{"building_type": "retail", "floor_area_m2": 2500.0, "station": STATIONS["Atlanta"]}])
    hours = climate.hours([STATIONS["Atlanta"]])
    for name in ("overcool_electric_reheat", "standalone_dehumidifier"):
        rows = in_sequence(sites, hours, name)
        for last, end, term in (
            ("last_c", "space_c", "air_storage_w_k"),
            ("last_humidity_ratio", "humidity_ratio", "moisture_storage_kg_s"),
        ):
            given = (rows[term] * (rows[last] - rows[f"hour.{end}"])).sum()
            ends = rows[term][0] * (rows[last][0] - rows[f"hour.{end}"][-1])
            assert given == pytest.approx(ends, abs=1e-6 * rows[term][0])
        into = rows["mass_storage_w_k"] * (rows["hour.mass_c"] - rows["last_mass_c"])
        through = rows["surface_w_k"] * (rows["hour.space_c"] - rows["hour.mass_c"])
        assert np.allclose(into, through, rtol=1e-9, atol=1e-6)  # Cm/dt (Tm - Tm') = hA (T - Tm)
        balance = (
            rows["hour.coil_sensible_w"]
            + rows["hour.unmet_cooling_w"]
            - rows["hour.heating_w"]
            - pl.Series(rows.get_column("hour.reheat_w", default=pl.zeros(rows.height, eager=True)))
            - pl.Series(rows.get_column("hour.device_heat_w", default=pl.zeros(rows.height, eager=True)))
        )
        gain = rows["sensible_at_cooling_w"] + rows["conductance_w_k"] * (
            rows["cooling_setpoint_c"] - rows["hour.space_c"]
        )
        assert np.allclose(balance, gain, rtol=1e-9, atol=1e-6 * gain.abs().max())


def test_without_capacities_every_hour_stands_alone() -> None:
    """The order of the hours no longer matters, but to the wheel before an outdoor-air unit: whether it turns goes by the air
    that its sensor has met, that of an hour before. Measured 0.04 %."""
    sites = sized(filled([HALL | {"building_type": "retail"}])).with_columns(
        pl.lit(0.0).alias(name) for name in STORAGE
    )
    hours = climate.hours([STATIONS["Houston"]])
    known, turned = totals(sites, hours), totals(sites, hours, -1)
    by_sensor = pl.col("strategy") == "outdoor_air_dehumidifier_with_recovery"
    for some, width in ((~by_sensor, 1e-9), (by_sensor, 1e-3)):
        one, other = known.filter(some), turned.filter(some)
        assert one["strategy"].to_list() == other["strategy"].to_list()
        for name in ("electricity_kwh", "fuel_kwh", "hours_above_limit", "water_removed_kg"):
            assert np.allclose(one[name], other[name], rtol=width, equal_nan=True), name


@pytest.mark.parametrize("kind", ["retail", "office", "school"])
def test_storage_spares_overcooling(kind: str) -> None:
    """A space that stores rides through the damp hours of a night or a shower (measured with independent models: electric reheat
    takes 34 to 77 % less in retail and offices)."""
    place = {"building_type": kind, "floor_area_m2": 2500.0, "station": STATIONS["Atlanta"]}
    sites = sized(filled([place]))
    hours = climate.hours([STATIONS["Atlanta"]])
    stored, alone = (
        totals(each, hours).filter(strategy="overcool_electric_reheat")["dehumidification_kwh"].item()
        for each in (sites, sites.with_columns(pl.lit(0.0).alias(name) for name in STORAGE))
    )
    assert 0 < stored < 0.7 * alone


def test_an_uncontrolled_store_in_miami_is_rarely_very_damp() -> None:
    """Cooled stores in Florida run at 50 to 70 % of relative humidity, rarely above 90 % (common practice, no source). One that
    never closes has two units: a single one that runs a fifth of each hour takes no water, as the on/off-cycle model has it."""
    stores = {"retail": 2500.0, "supermarket": 4000.0, "convenience_store": 280.0, "restaurant": 350.0}
    rows = [{"building_type": kind, "floor_area_m2": area} for kind, area in stores.items()]
    rows.append(rows[2] | {"cooling_units": 1})
    sites = sized(filled(rows))
    assert sites["cooling_units"][2] == 2
    batches = engine.simulate(sites, engine.years(climate.hours([STATIONS["Miami"]])), (REFERENCE.name,))
    found = ledger.totals(pl.concat([batch.years for batch in batches]), (REFERENCE.name,), REFERENCE.name)
    damp = found.sort("site_id")["hours_above_90_rh"].to_list()
    assert max(damp[:4]) <= 100
    assert damp[4] > 200
    assert found.sort("site_id")["hours_in_fog"].to_list()[:4] == [0, 0, 0, 0]


def test_at_rest_nothing_is_stored() -> None:
    terms = loads.at_rest(loads.site_terms(filled([HALL])))
    assert terms.select(*STORAGE).row(0) == (0.0, 0.0, 0.0)


def test_a_site_may_say_what_it_stores() -> None:
    sites = filled([HALL | {"thermal_mass": 0.0, "moisture_buffer": 0.0}, HALL | {"thermal_mass": 300.0}, HALL])
    terms = loads.site_terms(sites)
    assert terms["mass_exchange_w_k"][0] == terms["moisture_storage_kg_s"][0] == 0.0
    assert terms["mass_storage_w_k"][1] == pytest.approx(300e3 * 2500 / 3600)
    assert sites["thermal_mass_origin"].str.head(8).to_list() == ["given", "given", "assumed:"]
