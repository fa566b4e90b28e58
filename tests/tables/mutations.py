"""Tables spoilt at random: cells, rows, header, separator and encoding, in the ways that spreadsheets and people do it."""

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from hypothesis import strategies as st

from tests.tables.portfolios import SITE

GOOD = {
    "sites": [
        SITE | {"site_id": f"S{i}", "postal_code": "", "current_strategy": "", "heating_source": ""} for i in range(5)
    ],
    "tariffs": [
        {"tariff_id": f"T{i}", "electricity_price_per_kwh": "0.12", "fuel_price_per_kwh": "0.04"} for i in (1, 2)
    ],
    "equipment": [
        {"equipment_id": f"E{i}", "strategy": "standalone_dehumidifier", "capacity_l_day": "70"} for i in (1, 2)
    ],
    "tariff_periods": [
        {"tariff_id": "T1", "months": "6-9", "electricity_price_per_kwh": "0.2"},
        {"tariff_id": "T1", "months": "1-5,10-12", "electricity_price_per_kwh": "0.1"},
    ],
    "tariff_tiers": [
        {"tariff_id": "T2", "months": "", "up_to_kwh": "1000", "electricity_price_per_kwh": "0.2"},
        {"tariff_id": "T2", "months": "", "up_to_kwh": "", "electricity_price_per_kwh": "0.1"},
    ],
    "strategies": [{"strategy": "standalone_dehumidifier", "candidate": "yes", "investment_per_l_day": "60"}],
    "building_types": [{"building_type": "hall", "based_on": "office", "opens_hour": "8", "cooling_setpoint_f": "75"}],
}
EXTRA_COLUMNS = [
    "latitude",
    "longitude",
    "weather_file",
    "floor_area_ft2",
    "equipment_id",
    "cooling_cop",
    "name",
    "who knows",
]
NUMBERS = ["-5", "0", "-0", "+5", "1e9", "1e400", "1,234", "1,234.5", "1.234,5", "1,5", "1 234", "1_000", "0x10"]
NUMBERS += ["nan", "inf", "50%", "$5", "1/2", "9", "9" * 400, "٣", "5e-324", "1e-9"]
WORDS = ["abc", "office", "Grocery", "OFFICE", "4A", "T1", "E1", "S0", "hall", "true", "yes", "none", "null", "n/a"]
WORDS += ["-", "?", "*", ".", "^a$", "site_id", "row"]
HOSTILE = [
    "=1+1",
    "@x",
    "#REF!",
    "../../x.csv",
    "/etc/hosts",
    "\x1b[2J",
    "a\nb",
    '"',
    "''",
    ";",
    "é",
    "☃",
    "x" * 40_000,
    "{}",
]
CELLS = st.one_of(
    st.just(""),
    st.just("  "),
    st.sampled_from(NUMBERS),
    st.sampled_from(WORDS),
    st.sampled_from(HOSTILE),
    st.floats(allow_nan=False).map(str),
    st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=5),
)
SHAPES = [
    "title",
    "header again",
    "blank row",
    "copied row",
    "long row",
    "short row",
    "lost column",
    "twin column",
    "misspelt",
]


@dataclass(frozen=True)
class Spoilt:
    """A table as it is written, and how many rows of data a person would count in it."""

    content: bytes
    rows: int


@st.composite
def tables(draw: st.DrawFn, name: str) -> Spoilt:
    """A good table with some cells, now and then the shape, and the form of its file changed."""
    rows = [list(row.values()) for row in GOOD[name]]
    header = list(GOOD[name][0])
    if name == "sites":
        added = draw(st.lists(st.sampled_from(EXTRA_COLUMNS), max_size=3, unique=True))
        header, rows = header + added, [row + [""] * len(added) for row in rows]
    places = st.tuples(st.integers(0, len(rows) - 1), st.integers(0, len(header) - 1), CELLS)
    for row, column, text in draw(st.lists(places, max_size=4)):
        rows[row][column] = text
    lines = [header, *rows]
    for shape in draw(st.lists(st.sampled_from(SHAPES), max_size=1)):
        lines = _reshaped(lines, shape, draw(st.integers(0, len(rows))), draw(CELLS))
    separator = draw(st.sampled_from([",", ",", ",", ";", "\t"]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16"]))
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=draw(st.sampled_from(["\n", "\r\n"]))).writerows(lines)
    return Spoilt(text.getvalue().encode(encoding, errors="replace"), _counted(lines, header))


def _reshaped(lines: list[list[str]], shape: str, at: int, text: str) -> list[list[str]]:
    header, rows = lines[0], lines[1:]
    if shape == "title":
        return [["Our table"], [], *lines]
    if shape in ("header again", "blank row", "copied row"):
        new = {"header again": header, "blank row": [], "copied row": rows[0]}[shape]
        return [header, *rows[:at], new, *rows[at:]]
    if shape in ("long row", "short row"):
        changed = [*rows[0], text] if shape == "long row" else rows[0][:-1]
        return [header, changed, *rows[1:]]
    if shape == "lost column":
        return [line[:at] + line[at + 1 :] for line in lines]
    if shape == "twin column":
        return [[*line, line[0]] for line in lines]
    return [[header[0] + "x", *header[1:]], *rows]


def _counted(lines: list[list[str]], header: list[str]) -> int:
    """Rows below the header with any text that are not the header once more."""
    texts = [[cell.strip().lower() for cell in line] for line in lines]
    first = next(i for i, line in enumerate(texts) if len(line) > 1 and set(line) & set(header))
    names = texts[first]
    return sum(any(line) and line + [""] * (len(names) - len(line)) != names for line in texts[first + 1 :])


def write(folder: Path, spoilt: dict[str, Spoilt]) -> Path:
    """A portfolio folder of these tables."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in spoilt.items():
        (folder / f"{name}.csv").write_bytes(table.content)
    return folder
