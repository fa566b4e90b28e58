"""What people write into a sheet of sites besides: words for nothing, totals, remarks, closed and doubled stores.

Cells become what they say; rows that are no site to rank are set aside with their reason, and are no faults.
"""

from dataclasses import dataclass, field
from datetime import date

import polars as pl

from screener import units
from screener.contracts import Contract
from screener.tables import headings

NOTHING = (
    *("n/a", "n.a.", "na", "#n/a", "tbd", "t.b.d.", "tba", "-", "--", "–", "—", "?", "??", "unknown", "unk", "null"),
    *("not available", "not known", "to be determined", "…", "..."),
)
STATUS = ("status", "store status", "site status", "open closed")
CLOSED = r"^(permanently |now |store )?(closed|inactive|sold|terminated|dark|vacant|vacated|shut)\b"
CLOSING = ("closing date", "close date", "closed date", "date closed", "closure date", "closed on")
TOTAL = r"(?i)^(grand |sub[ -]?)?(totals?|sum|average|mean|count)\b"
REMARK_CHARACTERS = 25
ID, PLACES = "site_id", ("postal_code", "latitude", "longitude", "climate_zone", "weather_file", "city", "state")
ABOUT = r"(?i)^(~|≈|approx(imately)?\.?|about|ca\.?|circa|est\.?)\s*"
THOUSANDS = r"^([+-]?\d+(?:\.\d+)?)\s*[kK]$"
IN_CELLS = {  # words for the unit that a column's name ends in, after a figure
    "ft2": r"(sq\.? ?ft\.?|sqft|sf|ft2|ft²|square feet)",
    "m2": r"(sq\.? ?m\.?|sqm|m2|m²|square met(er|re)s)",
    "tons": r"tons?",
    "kw": r"kw",
    "kwh": r"kwh",
    "cfm": r"cfm",
    "f": r"(°|deg\.?)? ?f",
    "c": r"(°|deg\.?)? ?c",
    "pct": r"(%|percent)( rh)?",
    "ft": r"(ft\.?|feet|')",
    "m": r"m",
    "eer": r"(eer|btu/wh)",
}


@dataclass(frozen=True)
class Tidied:
    """`frame` as a raw table's; `aside` its rows that are no site to rank, with `kind` and `reason`."""

    frame: pl.DataFrame
    aside: pl.DataFrame
    notes: list[str] = field(default_factory=list)


def tidied(frame: pl.DataFrame, contract: Contract) -> Tidied:
    """A raw table of sites without words for nothing and with plain figures; its rows sorted out."""
    named = [name for name in frame.columns if name != "row"]
    if not named:
        return Tidied(frame, frame.clear().with_columns(kind=pl.lit(None, pl.String), reason=pl.lit(None, pl.String)))
    empty = {name: pl.col(name).str.to_lowercase().is_in(NOTHING) for name in named}
    said = frame.select(sum_of.sum() for sum_of in empty.values()).row(0)
    plain = frame.with_columns(pl.when(~empty[name]).then(pl.col(name)).alias(name) for name in named)
    numeric = [
        (name, each)
        for each in contract.fields
        if each.kind in ("number", "integer")
        for name in each.names
        if name in named
    ]
    plain = plain.with_columns(_figure(name, clock=each.clock).alias(name) for name, each in numeric)
    reasons = _reasons(plain, contract)
    sorted_out = plain.with_columns(reasons)
    kept = sorted_out.filter(pl.col("kind").is_null()).drop("kind", "reason")
    kept, doubled = _doubled(kept)
    marked = pl.concat([sorted_out.filter(pl.col("kind").is_not_null()), doubled], how="diagonal")
    original = frame.join(marked.select("row", "kind", "reason"), on="row", how="inner", maintain_order="left")
    notes = []
    if count := sum(said):
        notes.append(f"{contract.name}: {count} cells that say {_words(frame, named)} are read as empty")
    return Tidied(kept, original, notes)


def _words(frame: pl.DataFrame, named: list[str]) -> str:
    used = {text for name in named for text in frame[name].drop_nulls().unique() if text.lower() in NOTHING}
    return ", ".join(f'"{word}"' for word in sorted(used)[:5])


def _figure(name: str, clock: bool) -> pl.Expr:
    """A figure without what stands around it: about, its own unit, k for thousands."""
    text = pl.col(name).str.replace(ABOUT, "")
    unit = units.unit_of(name) or name.rpartition("_")[2]
    if pattern := IN_CELLS.get(unit):
        text = text.str.replace(rf"(?i)^([+-]?[\d.,’' ]*\d)\s*{pattern}$", "${1}")
    if clock:
        return text.str.replace(r"(?i)^(\d{1,2})\s*(h|hrs?|hours?|o'clock)$", "${1}")
    many = text.str.extract(THOUSANDS).cast(pl.Float64, strict=False) * 1000
    return pl.when(many.is_not_null()).then(many.round(6).cast(pl.String)).otherwise(text)


def _reasons(frame: pl.DataFrame, contract: Contract) -> list[pl.Expr]:
    """`kind` and `reason` of a row that is no site to rank; null of all others."""
    named = [name for name in frame.columns if name != "row"]
    by_words = {headings.plain(name): name for name in named}
    rules: list[tuple[str, pl.Expr, pl.Expr]] = []
    first = pl.coalesce(named)
    sparse = pl.all_horizontal(
        pl.lit(True), *(pl.col(name).is_null() for name in named if name in ("building_type", *PLACES))
    )
    rules.append(("total", first.str.contains(TOTAL) & sparse, pl.concat_str(pl.lit("a line of totals: "), first)))
    filled = pl.sum_horizontal(pl.col(name).is_not_null() for name in named)
    worded = (first.str.len_chars() > REMARK_CHARACTERS) | first.str.contains(r"(?i)^([*†‡]|\d\)|notes?\b|source\b)")
    remark = (filled == 1) & worded if len(named) > 3 else pl.lit(False)
    rules.append(("remark", remark, pl.concat_str(pl.lit("a remark, not a site: "), first.str.head(60))))
    for words in STATUS:
        if status := by_words.get(words):
            closed = pl.col(status).str.to_lowercase().str.contains(CLOSED)
            rules.append(("closed", closed, pl.concat_str(pl.lit(f"{status} says "), pl.col(status))))
    for words in CLOSING:
        if closing := by_words.get(words):
            why = pl.concat_str(pl.lit(f"{closing} says "), pl.col(closing))
            rules.append(("closed", _past(pl.col(closing)), why))
    kind, reason = pl.lit(None, pl.String), pl.lit(None, pl.String)
    for name, where, why in reversed(rules):
        kind = pl.when(where.fill_null(False)).then(pl.lit(name)).otherwise(kind)
        reason = pl.when(where.fill_null(False)).then(why).otherwise(reason)
    return [kind.alias("kind"), reason.alias("reason")]


def _past(text: pl.Expr) -> pl.Expr:
    """Whether a date, 2024-05-31 or 5/31/2024, has passed; one that cannot be read has not."""
    day = text.str.extract(r"^(\S+)")
    formats = ("%Y-%m-%d", "%m/%d/%Y", "%m/%d/%y", "%d.%m.%Y")
    read = pl.coalesce(day.str.to_date(form, strict=False) for form in formats)
    return read <= date.today()


def _doubled(frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows without those that repeat a site, and these: `122`, `0122`, `#122` and `122.0` of one name and place."""
    if ID not in frame.columns or "name" not in frame.columns or frame.is_empty():
        return frame, frame.clear().with_columns(kind=pl.lit(None, pl.String), reason=pl.lit(None, pl.String))
    same = (
        pl.col(ID)
        .str.to_lowercase()
        .str.replace_all(r"[#\s]", "")
        .str.replace(r"\.0+$", "")
        .str.replace(r"^0+(\d)", "${1}")
    )
    alike = [name for name in ("name", "floor_area_m2", "floor_area_ft2", *PLACES) if name in frame.columns]
    lowered = [
        pl.col(name).str.to_lowercase().str.replace(r"^0*(\d+)(-\d{4})?$", "${1}") for name in alike
    ]  # postal codes without their leading zeros and extensions
    keyed = frame.with_columns(_key=pl.struct(same.alias("id"), *lowered))
    keyed = keyed.with_columns(_first=pl.col("row").first().over("_key"), _id=pl.col(ID).first().over("_key"))
    again = pl.col(ID).is_not_null() & pl.col("name").is_not_null() & (pl.col("row") != pl.col("_first"))
    reason = pl.concat_str(pl.lit("the same site as "), "_id", pl.lit(" in row "), "_first")
    helpers = ["_key", "_first", "_id"]
    doubled = keyed.filter(again).with_columns(kind=pl.lit("duplicate"), reason=reason).drop(helpers)
    return keyed.filter(~again).drop(helpers), doubled
