"""A site's own weather: an hourly file of 8760 or 8784 rows, or the public TMY3 file as it is published.

Own files (CSV or Parquet) have the columns `month`, `day`, `hour` (0-23, the hour that begins then, or 1-24, the hour that
ends then; local standard time), `dry_bulb_c` (or `_f`), `dew_point_c` (or `_f`) or `relative_humidity_pct`, and if at hand
`pressure_pa` (or `_hpa`, `_mbar`) and `irradiance_w_m2`, global horizontal. Without pressure the air is that of the standard
atmosphere at the site's elevation; without irradiance the sun is left out. TMY3 files: first line the station, second the
header [S. Wilcox, W. Marion, NREL/TP-581-43156, 2008].

Hours are used as they are, each with a weight of one; a dew point above the dry-bulb is lowered to it. With a column `year`
that is the same in all rows the hours keep their dates, so that they can lie beside a meter's; otherwise (TMY3 too, whose
months are of many years) the days of the week are those of the portfolio's `calendar_year`.
"""

from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import polars as pl

from screener.errors import FAULT_SCHEMA, ContractError, no_faults, table_fault
from screener.formula import of_columns
from screener.physics import psychrometrics as air

SCHEMA: Mapping[str, type[pl.DataType]] = {
    "weather_id": pl.String,
    "month": pl.Int8,
    "hour": pl.Int8,
    "day_of_week": pl.Int8,
    "weight_h": pl.Float64,
    "outdoor_c": pl.Float64,
    "outdoor_humidity_ratio": pl.Float64,
    "pressure_pa": pl.Float64,
    "irradiance_w_m2": pl.Float64,
    "dated": pl.Boolean,  # whether the days of the week are those of a real year
}
PREFIX, AT = "file:", "@"  # of a weather id; the elevation [m] that stands in for pressure follows the second
ROWS = (8760, 8784)
CALENDAR = ("month", "day", "hour")
WHOLE = ("year", *CALENDAR)
MOST_BYTES = 50_000_000
BOUNDS: Mapping[str, tuple[float, float]] = {  # record temperatures and pressures, rounded outwards
    "year": (1900, 2200),
    "month": (1, 12),
    "day": (1, 31),
    "hour": (0, 24),
    "dry_bulb_c": (-70, 60),
    "dew_point_c": (-80, 40),
    "relative_humidity_pct": (0, 100),
    "pressure_pa": (50_000, 110_000),
    "irradiance_w_m2": (0, 1500),
}
# Other names and units of a column: name in the file, then factor and offset to the column's own unit.
OTHERS: Mapping[str, tuple[str, float, float]] = {
    "dry_bulb_f": ("dry_bulb_c", 5 / 9, -160 / 9),
    "dew_point_f": ("dew_point_c", 5 / 9, -160 / 9),
    "rh_pct": ("relative_humidity_pct", 1, 0),
    "pressure_hpa": ("pressure_pa", 100, 0),
    "pressure_mbar": ("pressure_pa", 100, 0),
    "ghi_w_m2": ("irradiance_w_m2", 1, 0),
    "Dry-bulb (C)": ("dry_bulb_c", 1, 0),
    "Dew-point (C)": ("dew_point_c", 1, 0),
    "Pressure (mbar)": ("pressure_pa", 100, 0),
    "GHI (W/m^2)": ("irradiance_w_m2", 1, 0),
}
OPTIONAL = ("pressure_pa", "irradiance_w_m2")
TMY3_DATE, TMY3_TIME = "Date (MM/DD/YYYY)", "Time (HH:MM)"


class OwnYear(NamedTuple):
    """A checked year: `values` in calendar order and SI, and which of the optional columns it lacks."""

    values: pl.DataFrame
    lacking: list[str]


def read(weather_id: str, folder: Path | None) -> pl.DataFrame:
    """The hours of a weather id as `locate` gives it: SCHEMA. ContractError as for `load`."""
    name, _, elevation = weather_id.removeprefix(PREFIX).rpartition(AT)
    if not name or not elevation.lstrip("-").isdigit():
        name, elevation = weather_id.removeprefix(PREFIX), "0"
    return _hours(weather_id, load(name, folder).values, float(elevation))


def load(name: str, folder: Path | None) -> OwnYear:
    """The year in `<folder>/weather/<name>`.

    ContractError, with every faulty cell, where the file is missing, outside that folder, or no year of weather.
    """
    path = _path(name, folder)
    stat = path.stat()
    return _load(name, path, stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=256)  # 100 MB
def _load(name: str, path: Path, changed: int, size: int) -> OwnYear:
    """Read once however often it is asked for; `changed` and `size` make a new file a new question."""
    if size > MOST_BYTES:
        raise _fault(name, "size", f"{path.name} has {size:,} bytes; a year of hourly weather has less than 50 million")
    text, first_row = _cells(name, path)
    text = _dated(name, text)
    values, faults = _values(name, text, first_row)
    if not faults.is_empty():
        raise ContractError(faults)
    values = _calendar(name, values)
    return OwnYear(values, [c for c in OPTIONAL if c not in values.columns])


def _path(name: str, folder: Path | None) -> Path:
    if folder is None:
        raise _fault(name, "missing file", "there is no portfolio folder to look in; name the folder")
    weather = (folder / "weather").resolve()
    try:
        path = (weather / name).resolve()
        there = path.is_file()
    except (OSError, RuntimeError, ValueError):  # a name no disk has, or links that go in circles
        raise _fault(name, "missing file", "its name cannot be that of a file; correct it") from None
    if not path.is_relative_to(weather):
        raise _fault(name, "outside the portfolio", f"{name} lies outside the weather folder; put the file inside it")
    if not there:
        raise _fault(name, "missing file", f"there is no weather/{name} in the portfolio; add it or correct the name")
    return path


def _cells(name: str, path: Path) -> tuple[pl.DataFrame, int]:
    """The table as text, and the file's row number of its first row."""
    try:
        if path.suffix.lower() == ".parquet":
            return pl.read_parquet(path, glob=False).cast(pl.String), 2
        lines = path.read_text(encoding="utf-8-sig").splitlines()
        skip = 1 if len(lines) > 1 and TMY3_DATE in lines[1] else 0
        cells = pl.read_csv("\n".join(lines).encode(), infer_schema=False, skip_rows=skip, truncate_ragged_lines=True)
        return cells.with_columns(pl.all().str.strip_chars()), 2 + skip
    except (pl.exceptions.PolarsError, UnicodeDecodeError) as error:
        reason = str(error).splitlines()[0]
        message = f"cannot be read ({reason}); save it as CSV in UTF-8 or as Parquet"
        raise _fault(name, "unreadable", message) from None


def _dated(name: str, text: pl.DataFrame) -> pl.DataFrame:
    """Month, day and hour of a TMY3 file from its date and time; other files have them."""
    text = text.rename(lambda column: column.strip())
    if TMY3_DATE not in text.columns:
        missing = [c for c in ("month", "day", "hour") if c not in text.columns]
    else:
        date = pl.col(TMY3_DATE).str.split("/")
        text = text.with_columns(
            month=date.list.get(0), day=date.list.get(1, null_on_oob=True), hour=pl.col(TMY3_TIME).str.head(2)
        )
        missing = []
    have = {OTHERS[c][0] if c in OTHERS else c for c in text.columns}
    missing += ["dry_bulb_c"] if "dry_bulb_c" not in have else []
    missing += ["dew_point_c or relative_humidity_pct"] if not have & {"dew_point_c", "relative_humidity_pct"} else []
    twice = [c for c in BOUNDS if sum(OTHERS.get(given, (given,))[0] == c for given in text.columns) > 1]
    if twice:
        raise _fault(
            name, "two columns for one", f"{', '.join(twice)} is given more than once; keep one of the columns"
        )
    if missing:
        raise _fault(name, "missing column", f"there is no {', '.join(missing)}; add it to the header")
    return text


def _values(name: str, text: pl.DataFrame, first_row: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Numbers in the columns' own units, and a fault for every cell that is none or out of bounds."""
    row = pl.int_range(pl.len()) + first_row
    values, faults = text.select(row.alias("row")), [no_faults()]
    for given in text.columns:
        column, factor, offset = OTHERS.get(given, (given, 1.0, 0.0))
        if column not in BOUNDS:
            continue
        low, high = BOUNDS[column]
        number = pl.col(given).cast(pl.Float64, strict=False) * factor + offset
        values = values.with_columns(text.select(number.alias(column)).to_series())
        wrong = values.select("row", column, value=text[given]).filter(
            ~pl.col(column).is_between(low, high).fill_null(False)
            | ((pl.col(column) != pl.col(column).round()) if column in WHOLE else False)
        )
        kind = "a whole number" if column in WHOLE else "a number"
        say = f"is not {kind} from {low:g} to {high:g}" + (f" ({column})" if given != column else "") + "; correct it"
        faults.append(
            wrong.select(
                table=pl.lit(f"weather/{name}"),
                row=pl.col("row").cast(pl.Int64),
                site_id=pl.lit(None, dtype=pl.String),
                column=pl.lit(given),
                rule=pl.lit("number within bounds"),
                value="value",
                message=pl.concat_str(pl.col("value").fill_null("an empty cell"), pl.lit(f" {say}")),
            ).cast(pl.Schema(FAULT_SCHEMA))
        )
    return values, pl.concat(faults)


def _calendar(name: str, values: pl.DataFrame) -> pl.DataFrame:
    """The hours in calendar order, numbered 0-23 by their beginning. Every hour of the year once, or a fault."""
    if values.height not in ROWS:
        raise _fault(name, "a whole year", f"{values.height} rows; give the 8760 (or 8784) hours of one year")
    ends = values["hour"].max() == 24  # hours counted 1-24 are named by their end
    hour = pl.col("hour") - 1 if ends else pl.col("hour")
    values = values.with_columns(pl.col("month", "day").cast(pl.Int8), hour.cast(pl.Int8).alias("hour"))
    year = 2024 if values.height == ROWS[1] else 2023  # any leap year, any other
    due = pl.select(at=pl.datetime_range(pl.datetime(year, 1, 1), pl.datetime(year, 12, 31, 23), "1h")).select(
        *(getattr(pl.col("at").dt, part)().alias(part) for part in CALENDAR)
    )
    found = due.join(values, on=CALENDAR, how="left", maintain_order="left")
    gaps = found.filter(pl.col("row").is_null())
    if found.height != due.height or not gaps.is_empty():
        first = f", such as month {gaps['month'][0]}, day {gaps['day'][0]}" if gaps.height else ""
        message = f"{gaps.height} hours of the calendar are missing{first}; give each hour of one year once"
        raise _fault(name, "a whole year", message)
    return found


def _hours(weather_id: str, values: pl.DataFrame, elevation_m: float) -> pl.DataFrame:
    """Weather hours of SCHEMA; without pressure that of the standard atmosphere at the elevation."""
    there, year = values.columns, _year(values)
    first = date(year, 1, 1).weekday() if year else 0
    standard = pl.lit(air.standard_pressure(elevation_m))
    values = values.with_columns(
        pressure_pa="pressure_pa" if "pressure_pa" in there else standard,
        irradiance_w_m2="irradiance_w_m2" if "irradiance_w_m2" in there else pl.lit(0.0),
    )
    pressure, dry_bulb = pl.col("pressure_pa"), pl.col("dry_bulb_c")
    if "dew_point_c" in there:
        humidity = of_columns(
            air.humidity_ratio_from_dew_point, pl.min_horizontal("dew_point_c", "dry_bulb_c"), pressure
        )
    else:
        fraction = pl.col("relative_humidity_pct") / 100
        humidity = of_columns(air.humidity_ratio_from_relative_humidity, dry_bulb, fraction, pressure)
    return values.select(
        pl.lit(weather_id).alias("weather_id"),
        "month",
        "hour",
        ((pl.int_range(pl.len()) // 24 + first) % 7).cast(pl.Int8).alias("day_of_week"),
        pl.lit(1.0).alias("weight_h"),
        dry_bulb.alias("outdoor_c"),
        humidity.alias("outdoor_humidity_ratio"),
        pressure,
        "irradiance_w_m2",
        pl.lit(year is not None).alias("dated"),
    )


def _year(values: pl.DataFrame) -> int | None:
    """The year of the hours, where they are all of one."""
    if "year" not in values.columns or values["year"].n_unique() > 1:
        return None
    return int(values["year"][0])


def _fault(name: str, rule: str, message: str) -> ContractError:
    return ContractError(table_fault(f"weather/{name}", rule, message))
