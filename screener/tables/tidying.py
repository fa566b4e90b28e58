"""Cells of a sheet of sites as people write them: words for nothing, figures with their unit, hours of the clock, addresses.

Cells become what they say; `setting_aside` sorts out the rows that are no site to rank.
"""

from dataclasses import dataclass, field

import polars as pl

from screener import units
from screener.contracts import Contract, Field
from screener.tables import headings, setting_aside
from screener.tables.cell_words import ABOUT, AFTER, NOTHING, THOUSANDS, in_cell

ADDRESS = (
    *(
        "address",
        "full address",
        "street address",
        "mailing address",
        "store address",
        "site address",
        "location address",
    ),
    *("city state zip", "city st zip", "city state", "city st", "location", "address line"),
)
COORDINATES = (
    "lat long",
    "lat lng",
    "lat lon",
    "latitude longitude",
    "coordinates",
    "gps",
    "gps coordinates",
    "lat longitude",
)
PAIR = r"^\(?\s*(-?\d{1,2}(?:\.\d+)?)\s*[,;/ ]\s*(-?\d{1,3}(?:\.\d+)?)\s*\)?$"
HOURS = (
    *("hours", "store hours", "hours of operation", "operating hours", "opening hours", "business hours", "open hours"),
    *("trading hours",),
)
SPAN = r"(?i)^(.*?\d.*?)\s*(?:-|–|—|\bto\b|\bthrough\b)\s*(.*\d.*|midnight|noon)$"
ALWAYS = r"(?i)^(open )?(24/7|24 ?x ?7|24 ?(h|hrs?|hours?))\.?$"
DAY_ZERO = (
    r"^(?:1899-12-3[01]|1900-01-0[0-2]|1904-01-0[12])[ T](\d\d:\d\d)(:\d\d)?$"  # with which a spreadsheet shows times
)
CITY = r"(?i)([A-Za-z][A-Za-z .'-]+),\s*([A-Za-z]{2})\.?\s*(\d{5}(-\d{4})?)?(,?\s*(usa?|united states))?$"


@dataclass(frozen=True)
class Tidied:
    """`frame` as a raw table's; `aside` its rows that are no site to rank, with `kind` and `reason`. `used`: columns that are
    none of the contract and were used nevertheless. `row_notes`: `row` and `note` of sites that are ranked."""

    frame: pl.DataFrame
    aside: pl.DataFrame
    notes: list[str] = field(default_factory=list)
    used: list[str] = field(default_factory=list)
    row_notes: pl.DataFrame = field(default_factory=lambda: setting_aside.NO_NOTES)


def tidied(frame: pl.DataFrame, contract: Contract) -> Tidied:
    """A raw table of sites without words for nothing and with plain figures; its rows sorted out."""
    named = [name for name in frame.columns if name != "row"]
    if not named:
        return Tidied(frame, frame.clear().with_columns(kind=pl.lit(None, pl.String), reason=pl.lit(None, pl.String)))
    empty = {name: pl.col(name).str.to_lowercase().is_in(NOTHING) for name in named}
    said = frame.select(sum_of.sum() for sum_of in empty.values()).row(0)
    plain = frame.with_columns(pl.when(~empty[name]).then(pl.col(name)).alias(name) for name in named)
    by_words = {headings.plain(name): name for name in reversed(named)}
    plain, notes, used = _hours(plain, by_words)
    plain, of_address, addressed = _places(plain, by_words)
    notes, used = notes + of_address, used + addressed
    numeric = [
        (name, each)
        for each in contract.fields
        if each.kind in ("number", "integer")
        for name in each.names
        if name in plain.columns
    ]
    plain = plain.with_columns(_figure(name, each).alias(name) for name, each in numeric)
    for name, each in numeric:
        if each.clock:
            plain, told = _of_day(plain, name)
            notes += told
    sorted_out = setting_aside.sorted_out(plain, contract)
    original = frame.join(
        sorted_out.aside.select("row", "kind", "reason"), on="row", how="inner", maintain_order="left"
    )
    if count := sum(said):
        notes.insert(0, f"{contract.name}: {count} cell{'s' * (count > 1)} of {_words(frame, named)} read as empty")
    used += sorted_out.used
    return Tidied(sorted_out.kept, original, notes, used, sorted_out.row_notes)


def _words(frame: pl.DataFrame, named: list[str]) -> str:
    used = {text for name in named for text in frame[name].drop_nulls().unique() if text.lower() in NOTHING}
    return ", ".join(f'"{word}"' for word in sorted(used)[:5])


def _figure(name: str, each: Field) -> pl.Expr:
    """A figure without what stands around it: about, its own unit, k for thousands, brackets of a negative one; one in another
    unit of its quantity in that of the column."""
    text = pl.col(name).str.replace(ABOUT, "").str.replace(AFTER, "")
    text = text.str.replace(r"^\(\s*([$]?[\d.,]+)\s*\)$", "-${1}")
    if pattern := in_cell(name):
        text = text.str.replace(rf"(?i)^([+-]?[\d.,’' ]*\d(?: ?k)?)\s*{pattern}$", "${1}")
    for other in each.names:
        if other != name and (pattern := in_cell(other)):
            digits = text.str.extract(rf"(?i)^([+-]?(?:\d+|\d{{1,3}}(?:,\d{{3}})+)(?:\.\d+)?)\s*{pattern}$")
            value = units.to_si(digits.str.replace_all(",", "").cast(pl.Float64, strict=False), other)
            back = _from_si(value, name).round_sig_figs(12).cast(pl.String)
            text = pl.when(digits.is_not_null()).then(back).otherwise(text)
    if each.unit == "fraction":
        percent = text.str.extract(r"^([\d.]+)\s*%$").cast(pl.Float64, strict=False) / 100
        text = pl.when(percent.is_not_null()).then(percent.round_sig_figs(12).cast(pl.String)).otherwise(text)
    if each.clock:
        always = text.str.contains(ALWAYS)
        text = text.str.replace(DAY_ZERO, "${1}")
        text = text.str.replace(r"(?i)^(\d{1,2})\s*(h|hrs?|hours?|o'clock)$", "${1}")
        return pl.when(always).then(pl.lit("24")).otherwise(text)
    many = text.str.extract(THOUSANDS).cast(pl.Float64, strict=False) * 1000
    return pl.when(many.is_not_null()).then(many.round(6).cast(pl.String)).otherwise(text)


def _from_si(value: pl.Expr, name: str) -> pl.Expr:
    rule = units.conversion(name)
    return value if rule is None else (value - rule.offset) / rule.factor


def _of_day(frame: pl.DataFrame, name: str) -> tuple[pl.DataFrame, list[str]]:
    """Hours of the day that are written as shares of it, as a spreadsheet keeps times, or as hours and minutes, 0730."""
    value = pl.col(name).cast(pl.Float64, strict=False)
    share = (value > 0) & (value < 1)
    whole = pl.col(name).str.contains(r"^\d{3,4}$") & (value % 100 < 60) & (value <= 2400)
    told = []
    found = frame.select(shares=share.sum(), others=((value > 1) & (value != 24)).sum(), whole=whole.sum()).row(
        0, named=True
    )
    if found["shares"] and not found["others"]:
        day = pl.when(share | (value == 1)).then((value * 24).round(4).cast(pl.String)).otherwise(name)
        frame = frame.with_columns(day.alias(name))
        told.append(f"sites: {name} is read as shares of a day, as spreadsheets keep times: 0.3125 is 7:30")
    if found["whole"]:
        hours = ((value // 100) + (value % 100) / 60).round(4).cast(pl.String)
        frame = frame.with_columns(pl.when(whole).then(hours).otherwise(name).alias(name))
        told.append(f"sites: {name} is read as hours and minutes without a colon: 0730 is 7:30")
    return frame, told


def _hours(frame: pl.DataFrame, by_words: dict[str, str]) -> tuple[pl.DataFrame, list[str], list[str]]:
    """`opens_hour` and `closes_hour` of one column that has both: `7 AM - 10 PM`, `07:00-22:00`, `24 hours`."""
    given = next((by_words[words] for words in HOURS if words in by_words), None)
    if given is None or {"opens_hour", "closes_hour"} & {*frame.columns}:
        return frame, [], []
    text = pl.col(given).str.to_lowercase()
    first, last = (
        text.str.extract(SPAN, part).str.strip_chars().str.replace(r"(\d)\s*([ap])$", "${1} ${2}m") for part in (1, 2)
    )
    clock = r"^\d{1,2}(:[0-5]\d)?\s*([ap]\.?m?\.?)?$|^midnight$|^noon$"
    is_clear = text.str.contains(r"\d\s*[ap]\.?m?\b|:|midnight|noon") | (last.cast(pl.Int64, strict=False) > 12)
    good = first.str.contains(clock) & last.str.contains(clock) & is_clear
    always = text.str.contains(ALWAYS)
    columns = {
        name: pl.when(always).then(pl.lit(hour)).when(good).then(part)
        for name, part, hour in (("opens_hour", first, "0"), ("closes_hour", last, "24"))
    }
    found = frame.select(**columns)
    if found["opens_hour"].null_count() == frame.height:
        return frame, [], []
    unread = frame.filter(found["opens_hour"].is_null() & frame[given].is_not_null()).height
    rest = f"; {unread} of its cells are no such span and are taken for empty" if unread else ""
    return frame.with_columns(found), [f'sites: "{given}" is read as opens_hour and closes_hour{rest}'], [given]


def _places(frame: pl.DataFrame, by_words: dict[str, str]) -> tuple[pl.DataFrame, list[str], list[str]]:
    """Postal code, state and city at the end of an address, where they have no columns of their own."""
    notes, used = [], []
    both = next((by_words[words] for words in COORDINATES if words in by_words), None)
    if both is not None and not {"latitude", "longitude"} & {*frame.columns}:
        parts = {"latitude": pl.col(both).str.extract(PAIR, 1), "longitude": pl.col(both).str.extract(PAIR, 2)}
        if (found := frame.select(**parts))["latitude"].null_count() < frame.height:
            frame = frame.with_columns(found)
            notes.append(f'sites: latitude and longitude are read from "{both}"')
            used.append(both)
    for words in ADDRESS:
        lacking = [name for name in ("postal_code", "state", "city") if name not in frame.columns]
        if not lacking or words not in by_words or by_words[words] not in frame.columns:
            continue
        text = pl.col(by_words[words])
        parts = {
            "postal_code": text.str.extract(
                r"(?i)\b[A-Z]{2}\.?,?\s+(\d{5}(?:-\d{4})?)(?:,?\s*(?:usa?|united states))?$"
            ),
            "state": text.str.extract(CITY, 2).str.to_uppercase(),
            "city": text.str.extract(CITY, 1).str.strip_chars(),
        }
        found = frame.select(parts[name].alias(name) for name in lacking)
        kept = [name for name in lacking if found[name].null_count() < frame.height]
        if kept:
            frame = frame.with_columns(found.select(kept))
            notes.append(f'sites: {" and ".join(kept)} are read from the end of "{by_words[words]}"')
            used.append(by_words[words])
    return frame, notes, used
