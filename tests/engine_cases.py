"""Sites and weather for tests of the engine, made from the shipped defaults."""

import random
from pathlib import Path
from types import SimpleNamespace

import polars as pl

from screener import climate, contracts, engine, ledger, loads
from screener.assumptions import filling
from screener.contracts.hour import SHARES
from screener.strategies import MACHINES, REFERENCE, REGISTRY
from screener.tables import shipped

SHARED = Path(__file__).parents[2] / "shared"
STATIONS = {"Miami": "722020", "Houston": "722430", "Atlanta": "722190", "Phoenix": "722780", "Chicago": "725300"}
STATIONS |= {"Seattle": "727930", "Denver": "725650", "Fairbanks": "702610"}
NO_EQUIPMENT = pl.DataFrame(schema=contracts.load("equipment").polars_schema())


def filled(rows: list[dict]) -> pl.DataFrame:
    """Sites as `filling.fill` and `climate.locate` leave them; each row at least building_type, floor_area_m2, station."""
    schema = contracts.load("sites").polars_schema() | {"row": pl.Int64}
    rows = [{"site_id": f"s{i:04}", "row": i + 2, "tariff_id": "t", "elevation_m": 0.0} | r for i, r in enumerate(rows)]
    weather = [row.pop("station", STATIONS["Miami"]) for row in rows]
    sites = pl.DataFrame(rows, schema=schema)
    given = [
        pl.when(pl.col(name).is_not_null()).then(pl.lit("given")).alias(name)
        for name in schema
        if name not in ("site_id", "row")
    ]
    types = shipped.building_types()
    portfolio = SimpleNamespace(
        sites=sites,
        sites_given=sites.select("site_id", *given),
        building_types=types.values,
        building_type_sources=types.sources,
    )
    return filling.fill(portfolio).with_columns(weather_id=pl.Series(weather))


def random_rows(count: int, seed: int = 1) -> list[dict]:
    """All building types, sizes from none to large, odd set points, equipment from far too small to far too big."""
    draw = random.Random(seed)
    types = shipped.building_types().values["building_type"].to_list()
    rows = []
    for i in range(count):
        cooling = draw.uniform(19, 27)
        row = {
            "building_type": types[i % len(types)],
            "floor_area_m2": draw.choice([0.0, 50.0, draw.uniform(100, 8000)])
            if i % 7 == 0
            else draw.uniform(100, 8000),
            "station": draw.choice(list(STATIONS.values())),
            "elevation_m": draw.choice([0.0, 0.0, 1600.0, 3000.0]),
            "cooling_setpoint_c": cooling,
            "heating_setpoint_c": cooling - draw.choice([0.0, 1.0, 4.0]),
            "heating_source": draw.choice(["fuel", "electric", "heat_pump", "none"]),
            "humidity_limit_dew_point_c": cooling - draw.uniform(4, 18),
        }
        if draw.random() < 0.3:
            row["cooling_capacity_kw"] = draw.choice([0.5, 10.0, 100.0, 1000.0])
        if draw.random() < 0.3:
            row["outdoor_air_l_s"] = draw.choice([0.0, 10.0, 1000.0])
        if draw.random() < 0.3:
            row |= {"open_case_length_m": draw.uniform(0, 150), "door_case_length_m": draw.uniform(0, 150)}
        if draw.random() < 0.3:
            row["peak_occupants"] = draw.choice([0.0, 500.0])
        if draw.random() < 0.3:
            row["process_moisture_kg_h"] = draw.choice([0.0, 100.0])
        if draw.random() < 0.3:
            row["infiltration_l_s_m2"] = draw.choice([0.0, 1.0])
        row |= {
            "supply_fan": draw.choice(["continuous", "continuous", "cycling"]),
            "re_evaporation": draw.choice(["none", "moderate", "strong"]),
            "current_strategy": draw.choice([None, *MACHINES]),
        }
        if draw.random() < 0.3:
            row |= {"opens_hour": 0.0, "closes_hour": 24.0, "open_days_per_week": 7.0}
        if draw.random() < 0.3:
            row |= {"humidity_limit_dew_point_c": None, "humidity_limit_rh_pct": draw.uniform(30, 70)}
        rows.append(row)
    return rows


def in_sequence(sites: pl.DataFrame, hours: pl.DataFrame, name: str) -> pl.DataFrame:
    """The hours of sites with a strategy one after another, all steps as columns of Polars, `site` numbers the sites."""
    years, sheets = engine.years(hours), engine.plan([name])
    frames = [
        engine.states(site.drop("site"), years[site["weather_id"].item()], name).with_columns(site=pl.lit(number))
        for number, site in enumerate(sized(sites).with_row_index("site").iter_slices(1))
    ]
    frame = pl.concat(frames)
    slots = pl.concat([pl.DataFrame({"slot": years[key].slots}) for key in sites["weather_id"]])
    frame = pl.concat([frame, slots], how="horizontal")
    return sheets[1].apply(sheets[0].apply(frame.lazy())).collect()


def sized(sites: pl.DataFrame, equipment: pl.DataFrame = NO_EQUIPMENT) -> pl.DataFrame:
    """The sites with their equipment."""
    places = sites["weather_id"].unique().sort().to_list()
    return engine.size(sites, climate.design_conditions(places), equipment)


def accounts(
    sites: pl.DataFrame, hours: pl.DataFrame | None = None, equipment: pl.DataFrame = NO_EQUIPMENT
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Totals and ledger of all strategies, over the years of the stations unless `hours` are given."""
    if hours is None:
        hours = climate.hours(sites["weather_id"].unique().sort().to_list())
    batches = list(engine.simulate(sized(sites, equipment), engine.years(hours)))
    totals = ledger.totals(pl.concat([b.years for b in batches]), tuple(REGISTRY), REFERENCE.name)
    return totals, pl.concat([b.ledger for b in batches])


def worked_hours(
    sites: pl.DataFrame, hours: pl.DataFrame, begun: dict[str, pl.Expr] | None = None
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Every hour with the reference, and the damp ones with every strategy, all steps as columns.

    Each hour stands alone: nothing is stored, or with `begun` it begins with these states of the space.
    """
    any_hour, damp_hour = engine.plan()
    alone = loads.at_rest(sized(sites)) if begun is None else sized(sites).with_columns(**begun)
    numbered = alone.with_row_index("site").lazy()
    joined = engine.by_the_hour(numbered.collect().join(engine.dated(hours), on="weather_id"))
    every = any_hour.apply(joined.drop(SHARES.values()).lazy())
    return every.collect(engine="streaming"), damp_hour.apply(every.filter("damp")).collect(engine="streaming")
