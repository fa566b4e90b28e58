"""Small portfolios made on the spot, for the tests of tables and filling."""

import csv
import io
from collections.abc import Mapping
from pathlib import Path

SITE = {"site_id": "A", "building_type": "office", "climate_zone": "4A", "floor_area_m2": "1000", "tariff_id": "T1"}
TARIFFS = "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nT1,0.12,0.04\n"


def table(*rows: Mapping[str, str]) -> str:
    """CSV text with the columns of all rows together; a row lacks what it does not name."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def sites(*changes: Mapping[str, str]) -> str:
    """A sites table: site A, which is good, then one row per change of it, named B, C ..."""
    rows = [{**SITE, "site_id": chr(66 + i), **change} for i, change in enumerate(changes)]
    return table(SITE, *rows)


def write(folder: Path, **tables: str | bytes | None) -> Path:
    """A portfolio folder with these CSV texts (or bytes) and, unless given, one good tariff and one good site.

    A name with a point or a slash is that of a file; None leaves a table out.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in ({"sites": sites(), "tariffs": TARIFFS} | tables).items():
        if text is not None:
            file = folder / (name if "." in name or "/" in name else f"{name}.csv")
            file.parent.mkdir(exist_ok=True)
            file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder
