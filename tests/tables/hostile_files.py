"""Files that are small and ask for much, or that break their readers, each beside the sentence that it should get.

`python -m tests.tables.hostile_files make FOLDER` writes them, `read FOLDER` reads them and prints, as JSON, what each was told,
its seconds, and the peak memory of all together.
"""

import io
import json
import random
import re
import resource
import struct
import sys
import time
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

import polars as pl
import xlsxwriter

from screener.errors import ContractError
from screener.tables import read_portfolio
from tests.tables.portfolios import TARIFFS

NAMES = ["site_id", "building_type", "floor_area_m2", "climate_zone", "tariff_id"]
GOOD = ["A", "office", "1000", "4A", "T1"]
TEXT = ",".join(NAMES) + "\n" + ",".join(GOOD) + "\n"


BLANKS = [b" " * 1_000_000] * 310


def peak_mb() -> int:
    """The most memory this program had [MB] since it began; `ru_maxrss` a process has from the one that started it."""
    status = Path("/proc/self/status")
    if status.is_file():
        return int(re.findall(r"VmHWM:\s+(\d+)", status.read_text())[0]) // 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def _book(stray: tuple[int, int] | None = None, more: Iterable[bytes] = (), name: str = "sites") -> bytes:
    """A workbook of one good site with a stray cell, or with `more` at the end of its sheet."""
    written, changed = io.BytesIO(), io.BytesIO()
    with xlsxwriter.Workbook(written, {"in_memory": True}) as book:
        sheet = book.add_worksheet(name)
        sheet.write_row(0, 0, NAMES)
        sheet.write_row(1, 0, GOOD)
        if stray:
            sheet.write(*stray, "x")
    with zipfile.ZipFile(written) as old, zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            before, end, after = old.read(part).partition(b"</sheetData>")
            with new.open(part, "w") as stream:
                stream.writelines([before, *(more if end else ()), end, after])
    return changed.getvalue()


def _lying() -> bytes:
    """A workbook whose sheet says that it unpacks to 2 kB, and unpacks to 310 MB."""
    content = _book(more=BLANKS)
    with zipfile.ZipFile(io.BytesIO(content)) as package:
        size = package.getinfo("xl/worksheets/sheet1.xml").file_size
    return content.replace(struct.pack("<I", size), struct.pack("<I", 2_000))


def _parquet(frame: pl.DataFrame) -> bytes:
    written = io.BytesIO()
    frame.write_parquet(written, compression="zstd")
    return written.getvalue()


def _spoilt() -> bytes:
    """A Parquet file with every fortieth byte changed, but for its ends."""
    content = bytearray(_parquet(pl.DataFrame({name: [f"x{i}" for i in range(1000)] for name in NAMES})))
    for at in range(60, len(content) - 600, 40):
        content[at] ^= 0x55
    return bytes(content)


def _sites(name: str, content: Callable[[], bytes | str]) -> Callable[[Path], None]:
    def write(folder: Path) -> None:
        made = content()
        (folder / name).write_bytes(made.encode() if isinstance(made, str) else made)

    return write


def _beside(name: str, content: Callable[[], bytes | str]) -> Callable[[Path], None]:
    """A file beside a good table of sites."""

    def write(folder: Path) -> None:
        (folder / "sites.csv").write_text(TEXT)
        _sites(name, content)(folder)

    return write


def _huge_workbook() -> bytes:
    row = b"<row>" + b'<c r="A9"><v>1</v></c>' * 10_000 + b"</row>"
    return _book(more=[row] * 400, name="archive")


HOSTILE: dict[str, tuple[Callable[[Path], None], str]] = {
    "a stray cell": (
        _sites("sites.xlsx", lambda: _book((19_999, 16_383))),
        "has a cell in row 20,000 and column 16,384, more than the 1,000 columns that are read",
    ),
    "a stray cell below": (
        _sites("sites.xlsx", lambda: _book((1_048_575, 2))),
        "has a cell in row 1,048,576 and column 3, more than the 5,000,000 cells that are read",
    ),
    "blanks without end": (
        _sites("sites.xlsx", lambda: _book(more=BLANKS)),
        "bytes and more unpacked, more than the 300,000,000 that are read",
    ),
    "a zip that lies": (_sites("sites.xlsx", _lying), "cannot be read as XLSX (Bad CRC-32"),
    "a text a cell, often": (
        _sites(
            "sites.xlsx",
            lambda: _book(
                more=(b'<row r="%d"><c t="str"><v>%b</v></c></row>' % (i, b"x" * 32_000) for i in range(3, 9_400))
            ),
        ),
        "more than the 300,000,000 that are read",
    ),
    "half a cell": (
        _sites("sites.xlsx", lambda: _book(more=[b'<row r="5">', *([b'<c r="A5" t="e"'] * 500)])),
        "cannot be read as XLSX (not well-formed",
    ),
    "an unrelated workbook": (_beside("archive.xlsx", _huge_workbook), ""),
    "commas in a row": (
        _sites("sites.csv", lambda: TEXT + "," * 120_000),
        "has 120,001 columns, more than the 1,000 that are read",
    ),
    "commas in a row far down": (
        _sites("sites.csv", lambda: TEXT + ",".join(GOOD) + "\n" * 200 + "," * 120_000),
        "has 120,001 columns, more than the 1,000 that are read",
    ),
    "headers without a name": (
        _sites("sites.csv", lambda: ",".join(NAMES) + "," * 100_000 + "\n" + ",".join(GOOD)),
        "has 100,005 columns, more than the 1,000 that are read",
    ),
    "columns of the user's own": (
        _sites(
            "sites.csv",
            lambda: (
                ",".join([*NAMES, *(f"floor area {i} of ours" for i in range(900))])
                + "\n"
                + ",".join(GOOD)
                + ",1" * 900
            ),
        ),
        "",
    ),
    "cells without end": (
        _sites("sites.csv", lambda: ",".join(NAMES) + "," * 195 + "\n" + ("A" + "," * 199 + "\n") * 100_000),
        "has 100,001 rows of 200 columns, more than the 16,000,000 cells that are read",
    ),
    "one site, often": (
        _sites("sites.csv", lambda: TEXT + "".join(f"A,office,{area},4A,T1\n" for area in range(300_000))),
        "stands in rows 2, 3, 4, 5, 6 and 299995 more",
    ),
    "one row, a million times": (
        _sites("sites.parquet", lambda: _parquet(pl.DataFrame({name: ["x"] * 1_000_000 for name in NAMES}))),
        "so all say the same; give every site one row",
    ),
    "one long text, often": (
        _sites("sites.parquet", lambda: _parquet(pl.DataFrame({name: ["x" * 30_000] * 20_000 for name in NAMES}))),
        "has 3,000,000,000 characters, more than the 250,000,000 that are read",
    ),
    "changed bytes": (_sites("sites.parquet", _spoilt), "sites.parquet cannot be read as PARQUET ("),
    "a long word": (_sites("sites.csv", lambda: b"a" * 80_000 + b"\n\xe9\n" + TEXT.encode()), ""),
    "lists in lists": (
        _beside("portfolio.toml", lambda: "holidays = " + "[" * 5_000 + "]" * 5_000),
        "lists in lists in lists; write one key = value a line",
    ),
    "tables in tables": (_beside("portfolio.toml", lambda: "a." * 3_000 + "b = 1"), "unknown setting"),
    "digits": (_beside("portfolio.toml", lambda: "study_years = " + "9" * 5_000), "a number of thousands of digits"),
    "digits of another kind": (_beside("portfolio.toml", lambda: "study_years = 0x" + "f" * 5_000), "bad setting"),
    "large settings": (_beside("portfolio.toml", lambda: "#" * 30_000), "30,000 bytes, more than the 20,000"),
    "noise": (
        _sites("sites.xlsx", lambda: b"PK" + random.Random(1).randbytes(50_000)),
        "has no sheets that can be read",
    ),
}


def make(folder: Path) -> None:
    """Write a portfolio folder for each of the files."""
    for case, (write, _) in HOSTILE.items():
        (folder / case).mkdir(parents=True)
        (folder / case / "tariffs.csv").write_text(TARIFFS)
        write(folder / case)


def told(folder: Path) -> str:
    """What is said of a portfolio; nothing where its file does no harm."""
    try:
        read_portfolio(folder)
    except ContractError as error:
        return str(error)
    return ""


def main(what: str, folder: Path) -> None:
    if what == "make":
        return make(folder)
    found = {}
    for case in HOSTILE:
        began = time.perf_counter()
        found[case] = (told(folder / case), time.perf_counter() - began)
    peak = peak_mb()
    json.dump({"told": found, "peak_mb": peak}, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
