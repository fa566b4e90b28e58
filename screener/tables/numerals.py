"""How a table writes its numbers: 1,234.5 or 1.234,5, told by the numbers that can be read in one way only."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

EXPONENT = r"([eE][+-]?\d+)?"
SEVERAL = 3  # figures with one mark before three digits that tell it parts thousands: common practice, no source
SPACES = r"[ '’\x{a0}\x{202f}]"  # between digits they can only be thousands
TWO_MEANINGS = r"^[+-]?[1-9]\d{0,2}[.,]\d{3}$"  # 1,234 and 1.234
SPACED = rf"^[+-]?\d{{1,3}}({SPACES}\d{{3}})+([.,]\d+)?$"


@dataclass(frozen=True)
class Numerals:
    """The decimal mark of a table. Only where it is `sure` is the other mark before three digits one of thousands.

    With `doubt` even the mark itself before three digits may part thousands.
    """

    decimal: str = "."
    sure: bool = False
    doubt: bool = False

    @property
    def thousands(self) -> str:
        """The mark that may part thousands."""
        return "," if self.decimal == "." else "."


def numbers(
    cells: pl.DataFrame, names: Sequence[str], stated: str | None, separator: str | None
) -> tuple[pl.DataFrame, Numerals]:
    """The columns `names` of a table of texts as numbers, null where a text is none; and how they were written.

    `stated` is the decimal mark the user vouches for, `separator` that of the cells in a CSV file. Other files keep
    numbers as numbers, with a point. Semicolons between cells are the custom where commas are decimal.
    """
    plain = cells.select(finite(pl.col(names).cast(pl.Float64, strict=False)))
    unclear = [name for name in names if plain[name].null_count() > cells[name].null_count()]
    doubt = separator == ";"
    if separator is None or not (stated or doubt or unclear):
        numerals = Numerals()
    else:
        numerals = Numerals(stated, sure=True) if stated else _found(cells, names, doubt)
    again = list(names) if numerals.decimal == "," or numerals.doubt else unclear
    return plain.with_columns(cells.select(number(pl.col(name), numerals) for name in again)), numerals


def _found(cells: pl.DataFrame, names: Sequence[str], doubt: bool) -> Numerals:
    """The mark that is certain in some cell while the other is certain in none; else the point, surely only where several
    figures have commas before three digits and none has a point there."""
    if not names:
        return Numerals()
    points, commas = (
        cells.select(pl.any_horizontal(pl.col(names).str.contains(certain(mark)).any())).item() for mark in ".,"
    )
    if points == commas:
        return Numerals(sure=True) if not (points or doubt) and _in_groups(cells, names) else Numerals(doubt=doubt)
    return Numerals("," if commas else ".", sure=True)


def _in_groups(cells: pl.DataFrame, names: Sequence[str]) -> bool:
    """Whether several figures have three digits behind a comma and none a point so: decimals would not all have three places."""
    by_mark = {
        mark: pl.concat_list(
            pl.col(names).str.contains(rf"^[+-]?[1-9]\d{{0,2}}{mark}\d{{3}}$").fill_null(False)
        ).list.sum()
        for mark in (",", r"\.")
    }
    commas, points = cells.select(sums.sum() for sums in (by_mark[","].alias("c"), by_mark[r"\."].alias("p"))).row(0)
    return int(commas) >= SEVERAL and not points


def certain(decimal: str) -> str:
    """Numbers that only one decimal mark explains: 0.5, 12.50, 1234.567, 1,234.5 and 1,234,567 where it is a point."""
    mark, other = (r"\.", ",") if decimal == "." else (",", r"\.")
    fraction = rf"(0?{mark}\d+|\d+{mark}(\d{{1,2}}|\d{{4,}})|\d{{4,}}{mark}\d+)"
    grouped = rf"[1-9]\d{{0,2}}(({other}\d{{3}})+{mark}\d+|({other}\d{{3}}){{2,}})"
    return rf"^[+-]?({fraction}{EXPONENT}|{grouped})$"


def number(text: pl.Expr, numerals: Numerals) -> pl.Expr:
    """Texts as numbers; null where one is none, is not finite or may be two different ones."""
    digits = pl.when(text.str.contains(SPACED)).then(text.str.replace_all(SPACES, "")).otherwise(text)
    mark, other = (r"\.", ",") if numerals.decimal == "." else (",", r"\.")
    groups = (
        rf"({other}\d{{3}})+({mark}\d*)?" if numerals.sure else rf"(({other}\d{{3}})+{mark}\d+|({other}\d{{3}}){{2,}})"
    )
    grouped = digits.str.contains(rf"^[+-]?[1-9]\d{{0,2}}{groups}$")
    digits = pl.when(grouped).then(digits.str.replace_all(numerals.thousands, "", literal=True)).otherwise(digits)
    written = digits.str.contains(rf"^[+-]?(\d+({mark}\d*)?|{mark}\d+){EXPONENT}$")
    if numerals.doubt:
        written &= ~digits.str.contains(TWO_MEANINGS)
    digits = digits.str.replace(",", ".", literal=True)
    return finite(pl.when(written).then(digits).cast(pl.Float64, strict=False))


def finite(value: pl.Expr) -> pl.Expr:
    """The value where it is a finite number."""
    return pl.when(value.is_finite()).then(value)
