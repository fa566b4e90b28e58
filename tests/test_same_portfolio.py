"""One portfolio in CSV, Parquet and XLSX, in SI and in US units, in one workbook or several files: one ranking."""

from pathlib import Path

import polars as pl
import pytest
import xlsxwriter
from polars.testing import assert_frame_equal

from screener import pipeline

SOURCE = Path(__file__).parents[1] / "portfolios" / "ferrowmere_district"
SITES = 6
# Exact by definition: foot, pound, inch; the others from NIST SP 811 (2008), appendix B.8
TO_US = {
    "floor_area_m2": ("floor_area_ft2", 0.3048**-2, 0),
    "cooling_setpoint_c": ("cooling_setpoint_f", 1.8, 32),
    "heating_setpoint_c": ("heating_setpoint_f", 1.8, 32),
    "humidity_limit_dew_point_c": ("humidity_limit_dew_point_f", 1.8, 32),
    "outdoor_air_l_s": ("outdoor_air_cfm", 60 / (1000 * 0.3048**3), 0),
    "infiltration_l_s_m2": ("infiltration_cfm_ft2", 60 / (1000 * 0.3048), 0),
    "cooling_capacity_kw": ("cooling_capacity_tons", 1 / 3.5168528420667, 0),
    "cooling_cop": ("cooling_eer", 3.412141633128, 0),
    "elevation_m": ("elevation_ft", 1 / 0.3048, 0),
    "process_moisture_kg_h": ("process_moisture_lb_h", 1 / 0.45359237, 0),
    "fuel_price_per_kwh": ("fuel_price_per_therm", 29.3001111, 0),
}


def tables() -> dict[str, pl.DataFrame]:
    """Some sites of the example, without its weather file, and its tariffs."""
    sites = pl.read_csv(SOURCE / "sites.csv", schema_overrides={"postal_code": pl.String, "site_id": pl.String})
    sites = sites.filter(pl.col("weather_file").is_null()).head(SITES)
    return {"sites": sites, "tariffs": pl.read_csv(SOURCE / "tariffs.csv")}


def in_us(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(
        (pl.col(name) * TO_US[name][1] + TO_US[name][2]).alias(TO_US[name][0]) if name in TO_US else name
        for name in frame.columns
    )


def write(folder: Path, form: str, frames: dict[str, pl.DataFrame]) -> Path:
    folder.mkdir()
    if form == "workbook":
        with xlsxwriter.Workbook(folder / "all.xlsx") as book:
            for name, frame in frames.items():
                frame.write_excel(book, name)
        return folder
    for name, frame in frames.items():
        file = folder / f"{name}.{form}"
        if form == "csv":
            frame.write_csv(file)
        elif form == "parquet":
            frame.write_parquet(file)
        else:
            frame.write_excel(file, name)
    return folder


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    return ranking(write(tmp_path_factory.mktemp("plain") / "p", "csv", tables()))


def ranking(folder: Path) -> pl.DataFrame:
    pipeline.run(folder, folder / "run")
    return pl.read_parquet(folder / "run" / "ranking.parquet")


@pytest.mark.parametrize("form", ["parquet", "xlsx", "workbook"])
def test_form_of_the_files_changes_nothing(form: str, tmp_path: Path, plain: pl.DataFrame) -> None:
    assert plain.height == SITES
    assert_frame_equal(ranking(write(tmp_path / "p", form, tables())), plain)


@pytest.mark.parametrize("form", ["csv", "parquet", "xlsx"])
def test_units_change_nothing_but_the_last_digits(form: str, tmp_path: Path, plain: pl.DataFrame) -> None:
    us = {name: in_us(frame) for name, frame in tables().items()}
    assert sum(name in [column for column, _, _ in TO_US.values()] for name in us["sites"].columns) >= 6
    assert_frame_equal(ranking(write(tmp_path / "p", form, us)), plain, rel_tol=1e-6, abs_tol=0.02)
