"""A run of few sites, and the same one with nothing uncertain."""

from pathlib import Path

import pytest

from screener import pipeline
from screener.tables import spreads

SITES = """site_id,building_type,floor_area_m2,climate_zone,tariff_id,current_strategy,supply_fan,cooling_cop
A,supermarket,4000,1A,T,overcool_electric_reheat,,
B,supermarket,3000,2A,T,,,
C,office,2000,2A,T,overcool_electric_reheat,continuous,3.2
D,restaurant,500,1A,T,,,
E,school,6000,3A,,temperature_only,,
F,fitness_center,1500,2A,T,overcool_fuel_reheat,,
"""
TARIFFS = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
HEAD = "figure,width,width_given\n"


def portfolio(folder: Path, **tables: str) -> Path:
    folder.mkdir()
    for name, text in ({"sites": SITES, "tariffs": TARIFFS} | tables).items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def no_spreads(but: dict[str, tuple[float, float]] | None = None) -> str:
    """A spreads table of zero widths, `but` of some figures."""
    widths = dict.fromkeys(spreads.shipped()["figure"].unique(maintain_order=True), (0.0, 0.0)) | (but or {})
    return HEAD + "".join(f"{figure},{wide},{given}\n" for figure, (wide, given) in widths.items())


@pytest.fixture(scope="session")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("odds")
    pipeline.run(portfolio(folder / "portfolio"), folder / "run")
    return folder / "run"
