"""Rows of a sheet of sites that are no site to rank: totals, remarks, headings between, closed and repeated stores.

They are set aside with their reason and are no faults.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from screener.contracts import Contract
from screener.outputs import today
from screener.tables import headings

STATUS = (
    *(
        "status",
        "store status",
        "site status",
        "open closed",
        "operating status",
        "location status",
        "operational status",
    ),
    *("current status", "store state"),
)
CLOSED = (
    r"^(permanently |perm\.? |now |store |site |location )?(closed|inactive|sold|terminated|dark|vacant|vacated|shut|divested"
    r"|demolished|relocated|decommissioned|disposed|liquidated)\b|^c$"
)
FOR_NOW = r"temporar|remodel|renovat|refurbish"
NOT_YET = (
    r"^(coming soon|under construction|in construction|planned|proposed|not (yet )?open|pre-?opening|pipeline|future)\b"
)
OPERATING = (
    "open",
    "active",
    "is open",
    "is active",
    "operating",
    "in operation",
    "open y n",
    "active y n",
    "operational",
)
GONE = ("closed", "is closed", "permanently closed", "closed y n", "inactive")
YES, NO = ("yes", "y", "true", "1", "x", "t", "✓"), ("no", "n", "false", "0", "f")
CLOSING = (
    *(
        "closing date",
        "close date",
        "closed date",
        "date closed",
        "closure date",
        "closed on",
        "date of closing",
        "closed",
    ),
    *("close dt", "closed dt", "termination date", "last day", "store close date", "store closing date", "date close"),
)
IN_NAME = r"(?i)[(\[*–—-]\s*(permanently |perm\.? |now )?closed\b"
TOTAL = r"(?i)^\W*((grand|sub)[ -]?)?(totals?|sum|average|avg|mean|count)\b|\b(sub)?totals?:?$"
WORDED = r"(?i)^([*†‡]|\(?\d\)|\[\d\]|notes?\b|source\b|prepared\b|printed\b|as of\b|page \d|report\b|confidential\b|total\b)"
REMARK_CHARACTERS = 25
LEAST_OF_EXAMPLE = 8  # cells that say what the example row says
ID, PLACES = "site_id", ("postal_code", "latitude", "longitude", "climate_zone", "weather_file", "city", "state")
DATES = (
    *("%Y-%m-%d", "%m/%d/%Y", "%m/%d/%y", "%d.%m.%Y", "%d.%m.%y", "%d/%m/%Y", "%Y/%m/%d", "%d-%b-%Y", "%d-%b-%y"),
    *("%b %d, %Y", "%B %d, %Y", "%d %b %Y", "%d %B %Y", "%m-%d-%Y", "%Y%m%d"),
)
NO_NOTES = pl.DataFrame(schema={"row": pl.Int64, "note": pl.String})


@dataclass(frozen=True)
class SortedOut:
    """`kept` rows, and those `aside` with `kind` and `reason`; columns that were `used` for it; notes on kept rows."""

    kept: pl.DataFrame
    aside: pl.DataFrame
    used: list[str]
    row_notes: pl.DataFrame


def sorted_out(frame: pl.DataFrame, contract: Contract) -> SortedOut:
    """The rows of a tidied table of sites, those that are no site to rank apart."""
    rules, used = _rules(frame)
    if frame.height > 1:  # alone it shows how a portfolio works
        why = pl.lit("the example row of an empty portfolio, as it was written")
        rules.insert(0, ("example", _untouched(frame, contract), why))
    kind, reason = pl.lit(None, pl.String), pl.lit(None, pl.String)
    for name, where, why in reversed(rules):
        kind = pl.when(where.fill_null(False)).then(pl.lit(name)).otherwise(kind)
        reason = pl.when(where.fill_null(False)).then(why).otherwise(reason)
    marked = frame.with_columns(kind=kind, reason=reason)
    kept = marked.filter(pl.col("kind").is_null()).drop("kind", "reason")
    kept, closed_too = _of_closed(kept, marked.filter(kind="closed"), used)
    kept, doubled, notes = _doubled(kept, contract)
    aside = pl.concat([marked.filter(pl.col("kind").is_not_null()), closed_too, doubled], how="diagonal")
    return SortedOut(kept, aside, used, pl.concat([notes, _closing_later(kept)]))


def _rules(frame: pl.DataFrame) -> tuple[list[tuple[str, pl.Expr, pl.Expr]], list[str]]:
    """Kind of a row set aside, where it is one, and why; and the columns that say so."""
    named = [name for name in frame.columns if name != "row"]
    by_words = {headings.plain(name): name for name in reversed(named)}
    first = pl.coalesce(named)
    present = [name for name in named if name in ("building_type", *PLACES)]
    sparse = pl.all_horizontal(pl.lit(True), *(pl.col(name).is_null() for name in present))
    total = pl.any_horizontal(pl.col(name).str.contains(TOTAL).fill_null(False) for name in named[:4]) & sparse
    filled = pl.sum_horizontal(pl.col(name).is_not_null() for name in named)
    worded = (first.str.len_chars() > REMARK_CHARACTERS) | first.str.contains(WORDED)
    between = first.str.contains(r"[A-Za-z]{3}") & first.str.contains(r"\s|^[^\d]*$")
    remark = (
        (((filled == 1) & (worded | between)) | ((filled == 2) & worded & sparse)) if len(named) > 3 else pl.lit(False)
    )
    rules = [
        ("total", total, pl.concat_str(pl.lit("a line of totals: "), first.str.head(60))),
        ("remark", remark, pl.concat_str(pl.lit("a remark, not a site: "), first.str.head(60))),
    ]
    used = []
    for words in (*STATUS, *OPERATING, *GONE, *CLOSING):
        if (name := by_words.get(words)) is None or frame[name].null_count() == frame.height:
            continue
        text, why = pl.col(name), pl.concat_str(pl.lit(f"{name} says "), pl.col(name))
        lowered = text.str.to_lowercase()
        found = []
        if words in OPERATING and _all_in(frame[name], (*YES, *NO)):
            found = [("closed", lowered.is_in(NO))]
        elif words in (*STATUS, *OPERATING):
            closed = lowered.str.contains(CLOSED) & ~lowered.str.contains(FOR_NOW)
            found = [("closed", closed), ("not open yet", lowered.str.contains(NOT_YET))]
        elif words in GONE and _all_in(frame[name], (*YES, *NO)):
            found = [("closed", lowered.is_in(YES))]
        elif words in CLOSING:
            found = [("closed", _past(text))]
        rules += [(kind, where, why) for kind, where in found]
        used += [name] if found else []
    if "name" in named:
        said = pl.concat_str(pl.lit("name says "), "name")
        rules.append(("closed", pl.col("name").str.contains(IN_NAME), said))
    return rules, used


def _untouched(frame: pl.DataFrame, contract: Contract) -> pl.Expr:
    """Whether a row says what the example row of an empty portfolio says, and no more."""
    same, filled = [], []
    for each in contract.fields:
        for name in each.names:
            if name in frame.columns and each.example is not None:
                text, value = pl.col(name), each.example_in(name)
                is_figure = isinstance(value, int | float) and not isinstance(value, bool)
                equal = (
                    (text.cast(pl.Float64, strict=False) - float(value)).abs() <= 1e-9 * max(1.0, abs(float(value)))
                    if is_figure
                    else text.str.strip_prefix("0") == str(value).removeprefix("0")
                )
                same.append(text.is_null() | equal.fill_null(False))
                filled.append(text.is_not_null())
    if len(filled) < LEAST_OF_EXAMPLE or ID not in frame.columns:
        return pl.lit(False)
    return pl.all_horizontal(same) & (pl.sum_horizontal(filled) >= LEAST_OF_EXAMPLE) & pl.col(ID).is_not_null()


def _all_in(cells: pl.Series, words: tuple[str, ...]) -> bool:
    return bool(cells.drop_nulls().str.to_lowercase().is_in(list(words)).all())


def _day(text: pl.Expr) -> pl.Expr:
    """A date as people and spreadsheets write it; null for anything else."""
    day = text.str.replace(r"[ T]\d{1,2}:\d\d(:\d\d)?.*$", "")
    serial = day.str.extract(r"^([3-6]\d{4})(\.0+)?$").cast(pl.Int32, strict=False)
    months = day.str.extract(r"^(\d{4})$").cast(pl.Int32, strict=False)
    return pl.coalesce(
        *(day.str.to_date(form, strict=False) for form in DATES),
        pl.lit(date(1899, 12, 30)) + pl.duration(days=serial),
        pl.when(months.is_between(1950, 2100)).then(pl.date(months, 12, 31)),
    )


def _past(text: pl.Expr) -> pl.Expr:
    """Whether a date has passed; one that cannot be read has not."""
    return _day(text) <= pl.lit(date.fromisoformat(today()))


def _closing_later(kept: pl.DataFrame) -> pl.DataFrame:
    """A note on every store that is open and has a date to close."""
    by_words = {headings.plain(name): name for name in reversed(kept.columns) if name != "row"}
    notes = [NO_NOTES]
    for name in filter(None, map(by_words.get, CLOSING)):
        ahead = kept.filter(_day(pl.col(name)).is_not_null() & ~_past(pl.col(name)))
        notes.append(ahead.select("row", note=pl.concat_str(pl.lit(f"{name} "), name)))
    return pl.concat(notes)


def same_number(text: pl.Expr) -> pl.Expr:
    """A store's number without what it may be written with: `122`, `0122`, `#122`, `122.0`, `Store 122`."""
    lowered = text.str.to_lowercase().str.replace_all(r"[#\s]", "").str.replace(r"\.0+$", "")
    return lowered.str.replace(r"^(store|site|loc|location|no\.?)[-_.]?(\d)", "${2}").str.replace(
        r"^([a-z]*[-_.]?)0+(\d)", "${1}${2}"
    )


def _plainly(name: str, numeric: Mapping[str, object]) -> pl.Expr:
    """A cell as it is compared: a figure by its value, a postal code by its five digits, a text by its letters and digits."""
    text = pl.col(name).str.to_lowercase()
    if name in numeric:
        digits = text.str.replace_all(r"[,\s]", "").cast(pl.Float64, strict=False).cast(pl.String)
        return pl.coalesce(digits, text)
    if name == "postal_code":
        return text.str.replace(r"^0*(\d+)(-?\d{4})?(\.0)?$", "${1}")
    return text.str.replace_all(r"[^\p{L}\p{N}]+", " ").str.strip_chars()


def _of_closed(kept: pl.DataFrame, closed: pl.DataFrame, used: list[str]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows without those that say once more of a closed store what its row says, and not whether it is open; and these."""
    alike = [name for name in ("name", *PLACES) if name in kept.columns]
    none = kept.clear().with_columns(kind=pl.lit(None, pl.String), reason=pl.lit(None, pl.String))
    if closed.is_empty() or ID not in kept.columns or "name" not in alike:
        return kept, none
    key = [
        same_number(pl.col(ID)).alias("_0"),
        *(_plainly(name, {}).alias(f"_{at}") for at, name in enumerate(alike, 1)),
    ]
    keys = [f"_{at}" for at in range(len(key))]
    open_said = pl.any_horizontal(pl.lit(False), *(pl.col(name).is_not_null() for name in used if name in kept.columns))
    mine = kept.with_columns(key).filter(pl.col("name").is_not_null() & pl.col(ID).is_not_null() & ~open_said)
    theirs = closed.with_columns(key).select(*keys, first="row").unique(keys, keep="first", maintain_order=True)
    again = mine.join(theirs, on=keys, how="inner", nulls_equal=True, maintain_order="left")
    reason = pl.concat_str(pl.lit("the same site as the closed one in row "), "first")
    doubled = again.with_columns(kind=pl.lit("duplicate"), reason=reason).select(none.columns)
    return kept.filter(~pl.col("row").is_in(doubled["row"].implode())), doubled


def _doubled(frame: pl.DataFrame, contract: Contract) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """The rows without those that repeat a site, these, and notes on those that stay.

    One site are rows whose number is the same but for its spelling, with one name and one place; without names rows that say
    the same in all columns of the contract. Of them the one with most cells stays, without figures on which they differ and
    which may be empty.
    """
    none = frame.clear().with_columns(kind=pl.lit(None, pl.String), reason=pl.lit(None, pl.String))
    if ID not in frame.columns or frame.height < 2:
        return frame, none, NO_NOTES
    numeric = {name: each for each in contract.fields if each.kind in ("number", "integer") for name in each.names}
    alike = [name for name in ("name", *PLACES) if name in frame.columns]
    if "name" not in frame.columns:
        known = [name for each in contract.fields for name in each.names if name != ID]
        alike = [name for name in known if name in frame.columns]
    keyed = frame.select("row", id=same_number(pl.col(ID)))
    twice = keyed.filter(pl.col("id").is_not_null() & pl.col("id").is_duplicated())
    if twice.is_empty():
        return frame, none, NO_NOTES
    named = [name for name in frame.columns if name not in ("row", ID)]
    few = frame.join(twice, on="row", maintain_order="left")
    few = few.with_columns(
        _key=pl.struct("id", *(_plainly(name, numeric).alias(f"{at}") for at, name in enumerate(alike))),
        _all=pl.struct("id", *(_plainly(name, numeric).alias(f"{at}") for at, name in enumerate(named))),
        _filled=pl.sum_horizontal(pl.col(name).is_not_null() for name in named),
    )
    if "name" in frame.columns:  # rows without one are one site only where all is the same
        few = few.with_columns(_key=pl.when(pl.col("name").is_not_null()).then("_key"))
    first = pl.when(pl.col("_key").is_not_null()).then(pl.col("row").min().over("_key"))
    groups = few.with_columns(_group=pl.coalesce(first, pl.col("row").min().over("_all")))
    order = groups.sort("_filled", "row", descending=[True, False], maintain_order=True)
    order = order.with_columns(_first=pl.col("row").first().over("_group"), _id=pl.col(ID).first().over("_group"))
    again = order.filter(pl.col("row") != pl.col("_first")).sort("row")
    if again.is_empty():
        return frame, none, NO_NOTES
    differing = _differing(order, numeric)
    again = again.join(differing, on="row", how="left", maintain_order="left")
    but = pl.when(pl.col("_differs") != "").then(pl.concat_str(pl.lit(", but for "), "_differs")).otherwise(pl.lit(""))
    reason = pl.concat_str(pl.lit("the same site as "), "_id", pl.lit(" in row "), "_first", but)
    doubled = again.with_columns(kind=pl.lit("duplicate"), reason=reason).select(none.columns)
    kept = frame.filter(~pl.col("row").is_in(doubled["row"].implode()))
    may_lack = {name for each in contract.fields if not each.required for name in each.names}
    for name in [each for each in numeric if each in frame.columns and each in may_lack]:
        both = pl.col(name).is_not_null() & pl.col("_first_of").is_not_null()
        against = order.with_columns(_first_of=pl.col(name).first().over("_group"))
        other = _plainly(name, numeric) != _plainly("_first_of", {"_first_of": None})
        if not (rows := against.filter(both & other)["_first"]).is_empty():
            unsure = pl.col("row").is_in(rows.implode())
            kept = kept.with_columns(pl.when(~unsure).then(pl.col(name)).alias(name))
    told = again.filter(pl.col("_differs") != "").select(
        row="_first",
        note=pl.concat_str(pl.lit("row "), "row", pl.lit(" is the same site and says otherwise: "), "_differs"),
    )
    return kept, doubled, told


def _differing(order: pl.DataFrame, numeric: Mapping[str, object]) -> pl.DataFrame:
    """`row` and the figures of the contract in which it says otherwise than the row of its site that stays."""
    names = [name for name in (*numeric, "building_type") if name in order.columns]
    parts = [
        pl.when(_plainly(name, numeric) != _plainly(name, numeric).first().over("_group")).then(
            pl.concat_str(pl.lit(f"{name} "), name)
        )
        for name in names
    ]
    told = pl.concat_str(parts, separator=", ", ignore_nulls=True) if parts else pl.lit("")
    return order.select("row", _differs=told)
