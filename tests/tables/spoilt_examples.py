"""The example portfolios spoilt by a seeded generator, in the ways of spreadsheets, exports and hostile people.

`python -m tests.tables.spoilt_examples 10000` reads so many in processes of its own and prints what went wrong: tracebacks,
seconds beyond 20, memory beyond 1 GB, rows that are neither good nor rejected. `FIRST` is another seed to begin with. A
sample of them is part of the tests.
"""

import csv
import io
import multiprocessing
import random
import shutil
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl
import xlsxwriter

from screener import pipeline
from screener.errors import ContractError
from screener.tables import Portfolio, read_tariffs
from tests.tables.hostile_files import peak_mb

EXAMPLES = sorted(path for path in (Path(__file__).parents[2] / "portfolios").iterdir() if path.is_dir())
MOST_S, MOST_MB = 20.0, 1_000
TEXTS = [
    "",
    " ",
    "-",
    "n/a",
    "#REF!",
    "#DIV/0!",
    "=1+1",
    "@x",
    "-5",
    "0",
    "-0",
    "1e9",
    "1e400",
    "1,234",
    "1.234,5",
    "12,5",
]
TEXTS += ["0x10", "nan", "inf", "50%", "$5", "1/2", "9" * 400, "٣", "5e-324", "abc", "office", "4A", "true", "T1", "S0"]
TEXTS += [
    "\x00",
    "\x1b[2J",
    "a\nb",
    "a\r\nb",
    '"',
    "''",
    ";",
    "\t",
    "é",
    "☃",
    "\u200b",
    "\ufeff",
    "\u202e",
    "x" * 40_000,
    "{}",
]
TEXTS += [
    "../../x.csv",
    "/etc/hosts",
    "row",
    "site_id",
    "^a$",
    "*",
    "[1]",
    "1-12",
    "13",
    "25:00",
    "Mon-Sun",
    "1899-12-31",
]
SETTINGS = [
    "name",
    "currency",
    "discount_rate",
    "rates",
    "inflation",
    "study_years",
    "decimal_mark",
    "holidays",
    "a.b",
    "x",
]
VALUES = [
    "1",
    "-1",
    "1e400",
    "nan",
    "inf",
    '"real"',
    '"nominal"',
    "true",
    "[]",
    "[[1]]",
    "{a = 1}",
    "1979-05-27",
    '"x"',
    "'",
]
VALUES += [
    "0x" + "f" * 5_000,
    "9" * 5_000,
    "[" * 2_000 + "]" * 2_000,
    '"\\u0000"',
    '["12-25"]',
    '["13-45"]',
    "0.03",
    "15",
]
Rows = list[list[str]]


@dataclass(frozen=True)
class Told:
    """What became of a spoilt portfolio; `wrong` is empty where all is well."""

    number: int
    wrong: str
    seconds: float
    peak_mb: int


def tables_of(example: Path) -> dict[str, Rows]:
    """The CSV tables of an example, by the names of their files."""
    return {
        file.name: list(csv.reader(io.StringIO(file.read_text("utf-8-sig")))) for file in sorted(example.glob("*.csv"))
    }


def spoil(rows: Rows, draw: random.Random) -> None:
    """Change a table in one way."""
    width, at = max(map(len, rows)), draw.randrange(len(rows))
    column, other = draw.randrange(width), draw.randrange(width)

    def cell(row: list[str], text: str) -> None:
        row.extend([""] * (column + 1 - len(row)))
        row[column] = text

    ways: list[Callable[[], object]] = [
        *[lambda: cell(rows[max(at, 1) % len(rows)], draw.choice(TEXTS))] * 6,
        lambda: [cell(row, draw.choice(TEXTS)) for row in rows[1:]],
        lambda: cell(rows[0], draw.choice([*TEXTS, *rows[0]])),
        lambda: rows.insert(at, list(rows[draw.randrange(len(rows))])),
        lambda: rows.insert(at, [draw.choice(TEXTS) for _ in range(draw.choice([1, width, width + 3]))]),
        lambda: rows.insert(0, ["Our sites"]),
        lambda: rows.insert(at, []),
        lambda: rows.pop(at) if len(rows) > 2 else None,
        lambda: rows[at].append(draw.choice(TEXTS)),
        lambda: [row.insert(column, draw.choice(["", "1", "x"])) for row in rows],
        lambda: [row.pop(column) for row in rows if len(row) > column and width > 1],
        lambda: [row.__setitem__(slice(None), row[::-1]) for row in rows],
        lambda: rows[1:].reverse(),
        lambda: rows[at].extend([""] * draw.choice([5, 2_000])),
        lambda: [cell(row, row[other]) for row in rows if len(row) > other],
    ]
    draw.choice(ways)()


def in_bytes(rows: Rows, draw: random.Random) -> bytes:
    """A table as a CSV file of some separator, encoding and line end, now and then with its bytes changed."""
    text = io.StringIO()
    quoting = draw.choice([csv.QUOTE_MINIMAL, csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
    end = draw.choice(["\n", "\n", "\r\n", "\r"])
    csv.writer(text, delimiter=draw.choice(",,,;\t|"), lineterminator=end, quoting=quoting).writerows(rows)
    content = bytearray(
        text.getvalue().encode(draw.choice(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16"]), "replace")
    )
    for _ in range(draw.choice([0, 0, 0, 0, 1, 3])):
        at = draw.randrange(len(content))
        piece = draw.choice([b'"', b"\x00", b"\xff", b",", b"\n", b"\r", bytes([draw.randrange(256)]), b"," * 5_000])
        content[at : at + draw.choice([0, 1, 20])] = piece
    return bytes(content)


def as_other_file(file: Path, rows: Rows, draw: random.Random) -> None:
    """A table as a workbook or a Parquet file, now and then with its bytes changed."""
    width = max(map(len, rows))
    if file.suffix == ".xlsx":
        with xlsxwriter.Workbook(file) as book:
            sheet = book.add_worksheet("sheet")
            for number, row in enumerate(rows):
                for column, text in enumerate(row):
                    sheet.write_string(number, column, text[:32_000].replace("\x00", ""))
    else:
        names = [f"{name or 'none'}{'' if rows[0].index(name) == i else i}" for i, name in enumerate(rows[0])] or ["x"]
        body = [(row + [""] * width)[: len(names)] for row in rows[1:]]
        unique = [name if names.index(name) == i else f"{name}{i}" for i, name in enumerate(names)]
        pl.DataFrame(body, schema=dict.fromkeys(unique, pl.String), orient="row").write_parquet(file)
    if draw.random() < 0.3:
        content = bytearray(file.read_bytes())
        for _ in range(draw.choice([1, 5, 50])):
            content[draw.randrange(len(content))] ^= 1 << draw.randrange(8)
        file.write_bytes(content[: draw.choice([len(content), len(content) // 2])])


def make(folder: Path, number: int) -> Path:
    """The example number `number`, spoilt; the same of the same number."""
    draw = random.Random(number)
    example = draw.choice(EXAMPLES)
    shutil.copytree(example, folder, ignore=shutil.ignore_patterns("pictures", "*.md"))
    tables = tables_of(example)
    for name in draw.sample(sorted(tables), draw.choice([1, 1, 2])):
        for _ in range(draw.choice([1, 1, 2, 4])):
            spoil(tables[name], draw)
        kind = draw.choice(["csv"] * 6 + ["xlsx", "parquet"])
        (folder / name).unlink()
        if kind == "csv":
            (folder / name).write_bytes(in_bytes(tables[name], draw))
        else:
            as_other_file((folder / name).with_suffix(f".{kind}"), tables[name], draw)
    if draw.random() < 0.1:
        settings = folder / "portfolio.toml"
        line = f"\n{draw.choice(SETTINGS)} = {draw.choice(VALUES)}\n"
        settings.write_text((settings.read_text("utf-8") if settings.is_file() else "") + line, "utf-8")
    return folder


def _lost(portfolio: Portfolio, good: int) -> str:
    """Rows of the sites table that are neither good nor rejected."""
    raw = portfolio.raws["sites"].frame.height + portfolio.raws["sites"].aside.height
    rejected = portfolio.rejects.filter(pl.col("table") == "sites")["row"].n_unique()
    return "" if good + rejected == raw else f"{raw} rows, {good} good, {rejected} rejected"


def told(number: int) -> Told:
    """What the program makes of an example spoilt."""
    began, wrong = time.perf_counter(), ""
    with tempfile.TemporaryDirectory() as folder:
        made = make(Path(folder) / "portfolio", number)
        began = time.perf_counter()
        try:
            portfolio, sites = pipeline.check(made)
            wrong = _lost(portfolio, sites.height)
            read_tariffs(made, portfolio.settings.currency)
        except ContractError:
            pass
        except BaseException:
            wrong = traceback.format_exc()
    seconds = time.perf_counter() - began
    peak = peak_mb()
    wrong += f" took {seconds:.1f} s" if seconds > MOST_S else ""
    wrong += f" took {peak} MB" if peak > MOST_MB else ""
    return Told(number, wrong, seconds, peak)


def all_told(first: int, count: int, processes: int) -> Iterator[Told]:
    """Of `count` spoilt examples from number `first` on, in so many processes, each of which is begun anew now and then."""
    with multiprocessing.get_context("spawn").Pool(processes, maxtasksperchild=250) as pool:
        yield from pool.imap_unordered(told, range(first, first + count), chunksize=25)


def main(count: int = 10_000, first: int = 0) -> int:
    bad, slowest, peak = 0, 0.0, 0
    for each in all_told(first, count, processes=2):
        slowest, peak = max(slowest, each.seconds), max(peak, each.peak_mb)
        if each.wrong:
            bad += 1
            print(f"number {each.number}: {each.wrong.strip()}", flush=True)
    print(f"{count:,} spoilt examples, {bad} wrong; {slowest:.1f} s and {peak:,} MB at most")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
