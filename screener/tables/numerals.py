"""How a table writes its numbers: 1,234.5 or 1.234,5, told by the numbers that can be read in one way only."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

EXPONENT = r"([eE][+-]?\d+)?"
SEVERAL = 3  # figures with one mark before three digits that tell it parts thousands: common practice, no source
LEAST, NEAR, BESIDE = (
    500.0,
    30.0,
    2,
)  # a usual figure, how near to it and beside how many one of two meanings is told by it
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
    if separator is None:  # numbers are numbers, with a point; only texts between them have marks of their own
        return _among_numbers(cells, names, plain, unclear, stated)
    if not (stated or doubt or unclear):
        return plain, Numerals()
    numerals = Numerals(stated, sure=True) if stated else _found(cells, names, doubt)
    again = list(names) if numerals.decimal == "," or numerals.doubt else unclear
    read = plain.with_columns(cells.select(number(pl.col(name), numerals) for name in again))
    return _by_neighbours(cells, read, names, numerals), numerals


def _among_numbers(
    cells: pl.DataFrame, names: Sequence[str], plain: pl.DataFrame, unclear: Sequence[str], stated: str | None
) -> tuple[pl.DataFrame, Numerals]:
    """Numbers of a file that keeps them as numbers: those it keeps as texts tell by themselves how they are written."""
    texts = cells.select(pl.when(plain[name].is_null()).then(pl.col(name)).alias(name) for name in unclear)
    numerals = Numerals(stated, sure=True) if stated else _found(texts, unclear, doubt=False)
    own = texts.select(number(pl.col(name), numerals) for name in unclear)
    read = plain.with_columns(pl.coalesce(plain[name], own[name]).alias(name) for name in unclear)
    return _by_neighbours(cells, read, names, numerals), numerals


def _by_neighbours(cells: pl.DataFrame, read: pl.DataFrame, names: Sequence[str], numerals: Numerals) -> pl.DataFrame:
    """Figures of two meanings, `40,300`, where the other figures of their column tell that the mark parts thousands: as such
    they are of the size of those, and a thousandth of it would not be."""
    if numerals.sure or numerals.decimal != ".":
        return read
    told = []
    for name in names:
        both = cells[name].str.contains(r"^[1-9]\d{0,2},\d{3}$") & read[name].is_null()
        usual = read[name].median()
        if isinstance(usual, float) and usual >= LEAST and both.any() and read[name].count() >= BESIDE:
            many = cells[name].str.replace(",", "").cast(pl.Float64, strict=False)
            near = both & (many <= usual * NEAR) & (many >= usual / NEAR)
            told.append(pl.select(pl.when(near).then(many).otherwise(read[name]).alias(name)).to_series())
    return read.with_columns(told)


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
