"""How sheets are read: what somebody chose, or let pass, when they were adopted, kept in `reading.toml` for the next export."""

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from screener.contracts import Contract
from screener.errors import UsageError
from screener.tables.headings import plain

MOST_BYTES = 1_000_000
ABOVE = """# How `screener adopt` reads these sheets: what it was told, or took for granted. The next export needs no questions.
# To have something read otherwise change its line and adopt again; "" leaves a heading as a column of your own.
"""


@dataclass(frozen=True)
class Choices:
    """`headings`: column by the plain words of a heading, "" for none. `words`: by column what a word in it stands for.
    `every_row`: what all rows say in a column that no sheet has. `sheets`: those of a workbook that are read, by name.
    `files`: digests of what was written, by which it is told whether somebody has changed it since."""

    headings: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    every_row: Mapping[str, str] = field(default_factory=dict)
    sheets: Sequence[str] = ()
    decimal_mark: str | None = None
    files: Mapping[str, str] = field(default_factory=dict)

    def with_headings(self, further: Mapping[str, str]) -> "Choices":
        """These with further headings, which stand for themselves or in plain words."""
        return replace(self, headings={**self.headings, **{plain(each): name for each, name in further.items()}})

    def with_word(self, column: str, word: str, meant: str) -> "Choices":
        """These with what a word stands for."""
        return replace(self, words={**self.words, column: {**self.words.get(column, {}), word.lower(): meant}})

    def in_toml(self) -> str:
        """The text of `reading.toml`."""
        lines = [ABOVE]
        if self.decimal_mark:
            lines.append(f"decimal_mark = {_quoted(self.decimal_mark)}")
        if self.sheets:
            lines.append(f"sheets = [{', '.join(map(_quoted, self.sheets))}]")
        parts = {"headings": self.headings, "every_row": self.every_row}
        parts |= {f"words.{column}": words for column, words in self.words.items()}
        for name, part in (parts | {"files": self.files}).items():
            if part:
                lines += ["", f"[{name}]", *(f"{_quoted(key)} = {_quoted(value)}" for key, value in part.items())]
        return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """A text as TOML writes it: as JSON does, but for characters beyond the first 65,536."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_choices(file: Path, contract: Contract) -> Choices:
    """What a `reading.toml` says. UsageError, in words, where it cannot be read or names columns that there are not."""
    try:
        if file.stat().st_size > MOST_BYTES:
            raise UsageError(
                f"{file.name} has more than {MOST_BYTES:,} bytes, which no such file has; name the right one"
            )
        found = tomllib.loads(file.read_bytes().decode("utf-8-sig"))
    except OSError as problem:
        raise UsageError(
            f"{file} cannot be opened ({problem.strerror}); name the reading.toml of an adoption"
        ) from None
    except (ValueError, RecursionError) as problem:  # among them TOML and UTF-8 errors
        raise UsageError(
            f"{file.name} is not valid TOML ({str(problem)[:200]}); mend the line or adopt without it"
        ) from None
    headings, every_row, files = (_texts(file, found, name) for name in ("headings", "every_row", "files"))
    words = found.get("words", {})
    if not isinstance(words, dict):
        raise UsageError(
            f'{file.name}: words is no table; write [words.building_type] and lines such as "shop" = "retail"'
        )
    by_column = {column: _texts(file, words, column) for column in words}
    known = {name for each in contract.fields for name in each.names} | {"", *PRICES}
    for heading, column in headings.items():
        if column not in known:
            raise UsageError(
                f'{file.name}: "{heading}" = "{column}": there is no such column; `screener schema sites` has them'
            )
    sheets, mark = found.get("sheets", []), found.get("decimal_mark")
    if not isinstance(sheets, list) or not all(isinstance(each, str) for each in sheets):
        raise UsageError(f'{file.name}: sheets is no list of names; write sheets = ["Stores"]')
    if mark not in (None, ".", ","):
        raise UsageError(f'{file.name}: decimal_mark is neither "." nor ","')
    return Choices({plain(each): name for each, name in headings.items()}, by_column, every_row, sheets, mark, files)


PRICES = (  # columns of the tariffs that a sheet of sites may carry
    *("electricity_price_per_kwh", "electricity_price_per_mwh", "fuel_price_per_kwh", "fuel_price_per_therm"),
    *("fuel_price_per_mmbtu", "fuel_price_per_mcf", "fuel_price_per_ccf", "demand_price_per_kw"),
)


def _texts(file: Path, found: Mapping[str, Any], name: str) -> dict[str, str]:
    part = found.get(name, {})
    if not isinstance(part, dict) or not all(isinstance(each, str) for each in part.values()):
        raise UsageError(f'{file.name}: {name} is no table of texts; write [{name}] and lines such as "a" = "b"')
    return dict(part)
