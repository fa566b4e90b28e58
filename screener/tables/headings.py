"""The headings of a sheet of sites by their meaning: `Store #`, `Sq Ft`, `ZIP`, `Floor area (m²)`, `Tons`.

A heading is put into plain words (case, spaces, marks and brackets aside, units in one spelling) and looked up among the names
of columns, then in `defaults/headings.csv`: usual headings of the trade, common practice, no source. What is left is taken apart
into a unit and the words of a quantity (`QUANTITIES`); a quantity without its unit has as many meanings as there are units.
The cells below have a say: a heading is not taken for what none of them can be.
"""

import csv
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import polars as pl

from screener.contracts import Contract
from screener.tables.cell_words import NOTHING, in_cell
from screener.units import to_si

WORDS = Path(__file__).parent / "defaults" / "headings.csv"
TABLE = "sites"  # whose headings people choose themselves
UNITS = (  # one spelling of a unit for each of those in use; longer ones first
    (r"\b(square feet|square foot|square footage|sq ?feet|sq ?ft|sqft|sq\. ?ft\.?|sf|ft ?2|ft\^2)\b\.?", "ft2"),
    (r"\b(square met(er|re)s?|sq ?m|sqm|m ?2|m\^2)\b", "m2"),
    (r"(°|º|\bdeg(rees)?\b\.?) ?([cf])\b", r" \3"),
    (r"\bset[ -]points?\b", "setpoint"),
    (r"\bdewpoint\b", "dew point"),
    (r"\bl(it(er|re)s?)? ?/ ?s(ec(ond)?)?\b", "l s"),
    (r"\b(btu ?/ ?h(r|our)?|btuh)\b", "btu h"),
    (r"\bkw ?h\b", "kwh"),
    (r"\ba/c\b", "ac"),
    (r"\b(nbr|num)\b\.?", "number"),
    (r"\bbldg\b\.?", "building"),
    (r"\bnm\b", "name"),
    (r"\bcd\b", "code"),
    (r"\bfmt\b", "format"),
    (r"\blocn?\b\.?", "location"),
    (r"\baddr\b\.?", "address"),
)
MARKS = re.compile(r"[\s_()\[\]{}/\\.,:;*\"'?%–—-]+")
# A quantity: the words one of which its heading has, those it may have besides, and its column by the unit in plain words.
QUANTITIES: Sequence[tuple[frozenset[str], frozenset[str], Mapping[str, str]]] = tuple(
    (frozenset(must.split()), frozenset(may.split()), columns)
    for must, may, columns in (
        (
            "area size space footprint footage",
            "floor building store site total gross conditioned interior net in approx heated cooled property",
            {"ft2": "floor_area_ft2", "m2": "floor_area_m2"},
        ),
        (
            "cooling ac hvac rtu rtus capacity tonnage",
            "cooling capacity total installed ac a c hvac rtu rtus nominal tonnage size in air conditioning load",
            {"tons": "cooling_capacity_tons", "kw": "cooling_capacity_kw", "btu h": "cooling_capacity_btu_h"},
        ),
        (
            "cooling ac hvac rtu rtus efficiency eer cop",
            "cooling rated efficiency ac hvac rtu rtus unit units average avg",
            {"eer": "cooling_eer", "cop": "cooling_cop"},
        ),
        (
            "cooling cool summer",
            "cooling cool summer setpoint temp temperature thermostat space occupied in",
            {"f": "cooling_setpoint_f", "c": "cooling_setpoint_c"},
        ),
        (
            "heating heat winter",
            "heating heat winter setpoint temp temperature thermostat space occupied in",
            {"f": "heating_setpoint_f", "c": "heating_setpoint_c"},
        ),
        (
            "outdoor outside oa ventilation fresh makeup",
            "outdoor outside oa ventilation fresh air min minimum total design mechanical volume flow rate in intake",
            {"cfm": "outdoor_air_cfm", "l s": "outdoor_air_l_s"},
        ),
        (
            "elevation altitude elev",
            "elevation altitude elev above sea level site store in",
            {"ft": "elevation_ft", "feet": "elevation_ft", "m": "elevation_m", "meters": "elevation_m"},
        ),
        (
            "dew",
            "dew point limit max maximum setpoint target humidity control in",
            {"f": "humidity_limit_dew_point_f", "c": "humidity_limit_dew_point_c"},
        ),
        (
            "annual yearly year yr 12",
            "annual yearly year yr 12 month months electricity electric usage use used consumption total energy per last",
            {"kwh": "annual_electricity_kwh"},
        ),
    )
)
WEAK = frozenset(  # headings that give way to one that says the same in full
    (
        *("store", "site", "id", "location", "description", "unit number", "use", "format", "type", "open", "opens"),
        *("close", "closes", "days", "zone", "heat", "heating", "st", "ft2", "gross ft2", "total ft2", "gsf", "kwh"),
        *("current system", "rate", "number", "branch", "reheat"),
    )
)
NUMBER = r"^\D{0,12}\d"
PRICE = r"^[$€£]?\s*\d*[.,]\d+\s*(¢|c|cents)?(\s*/.*)?$"
ENOUGH = 300  # cells looked at
NEARLY = 0.02  # of two figures that are one


@dataclass(frozen=True)
class Taken:
    """A header by its meaning: `header` under the names of columns, and a note on each heading that was taken for one.

    `doubtful`: headings that may both be one figure, by its name. `unclear`: columns that a heading may be, all alike.
    `means`: by heading as typed, in lower case, what it was taken for.
    """

    header: list[str]
    notes: list[str] = field(default_factory=list)
    doubtful: dict[str, list[str]] = field(default_factory=dict)
    unclear: dict[str, tuple[str, ...]] = field(default_factory=dict)
    means: dict[str, str] = field(default_factory=dict)


def plain(heading: str) -> str:
    """A heading in plain words.

    >>> plain("Floor Area (Sq. Ft.)"), plain("Store #"), plain("Cooling Set-Point [°F]")
    ('floor area ft2', 'store number', 'cooling setpoint f')
    """
    text = re.sub(r"\s+", " ", heading[:200].lower().replace("²", "2").replace("#", " number ").replace("_", " "))
    for spelt, unit in UNITS:
        text = re.sub(spelt, unit, text)
    return MARKS.sub(" ", text).strip()


@cache
def usual() -> dict[str, str]:
    """The column that each usual heading means, by its plain words."""
    with WORDS.open(encoding="utf-8", newline="") as file:
        return {row["heading"]: row["column"] for row in csv.DictReader(file)}


def meanings(heading: str, contract: Contract) -> tuple[str, ...]:
    """The names of columns that a heading which is none may stand for: one, several with the same right, or none.

    >>> from screener.contracts import load
    >>> meanings("bldg size - sq ft", load("sites")), meanings("area", load("sites"))
    (('floor_area_ft2',), ('floor_area_ft2', 'floor_area_m2'))
    """
    known = {name for field in contract.fields for name in field.names}
    words = plain(heading)
    if contract.name != TABLE or not words:
        return ()
    if (name := words.replace(" ", "_")) in known:
        return (name,)
    found = usual().get(words) or usual().get(words.removesuffix("s"))
    return (found,) if found in known else _composed(words.split())


def meant(heading: str, contract: Contract) -> str | None:
    """The name of the one column that a heading which is none stands for; None where it means nothing known, or several."""
    found = meanings(heading, contract)
    return found[0] if len(found) == 1 else None


def _composed(words: Sequence[str]) -> tuple[str, ...]:
    """The columns of a quantity that its words say in any order, with a unit or without."""
    for must, may, columns in QUANTITIES:
        for unit, column in columns.items():
            rest = _without(words, unit.split())
            if rest is not None and (must & {*words}) and {*rest} <= must | may and len(words) <= 8:
                return (column,)
        if must & {*words} and {*words} <= must | may and len(words) <= 6:
            several = tuple(dict.fromkeys(columns.values()))
            if len(several) > 1 and _is_quantity({*words}, columns):
                return several
    return ()


def _is_quantity(words: set[str], columns: Mapping[str, str]) -> bool:
    """Whether words without a unit still name the quantity: `cooling setpoint`, not `cooling`."""
    named = {
        "area",
        "size",
        "footprint",
        "footage",
        "capacity",
        "tonnage",
        "efficiency",
        "setpoint",
        "temp",
        "temperature",
    }
    named |= {"air", "ventilation", "elevation", "altitude", "elev", "point"}
    if {"size", "area"} & words and "ft2" in columns:
        return True
    return bool(named & words) and not ("temperature" in words and len(words) == 1)


def _without(words: Sequence[str], unit: Sequence[str]) -> list[str] | None:
    """The words without those of a unit, which stand together; None where they do not."""
    n = len(unit)
    for at in range(len(words) - n + 1):
        if list(words[at : at + n]) == list(unit):
            return [*words[:at], *words[at + n :]]
    return None


def taken(
    header: Sequence[str],
    contract: Contract,
    cells: pl.DataFrame | None = None,
    chosen: Mapping[str, str] | None = None,
    hidden: Collection[int] = (),
) -> Taken:
    """The header with the columns that its headings mean.

    `header`: lower-case names. `cells`: rows below it, a column of texts for each. `chosen`: by the plain words of a heading
    the column that somebody said it means, "" for none. `hidden`: numbers of columns that the sheet hides. A heading is taken
    only where no column of the figure stands there under a name of its own, and some cell below it may be such a thing.
    """
    own = {name: each.name for each in contract.fields for name in each.names}
    chosen = chosen or {}
    there = {own[name] for name in header if name in own}
    read, means, unclear = list(header), {}, {}
    for at, cell in enumerate(header):
        if (words := plain(cell)) in chosen:
            if chosen[words] in own:
                read[at] = chosen[words]
                there.add(own[chosen[words]])
            continue
        if cell in own or not cell:
            continue
        below = None if cells is None or at >= cells.width else _sample(cells[:, at])
        found = [fit for name in meanings(cell, contract) if (fit := _fitting(name, contract, below))]
        if len(found) > 1 and (said := _of_units(found, below)):
            found = [said]
        if len(found) == 1:
            means[at] = found[0]
        elif found:
            unclear[at] = tuple(found)
    rivals: dict[str, list[int]] = {}
    for at, name in means.items():
        if own[name] not in there:
            rivals.setdefault(own[name], []).append(at)
    notes, doubtful = [], {}
    spare = []
    for figure, places in rivals.items():
        best = _nearest(places, header, figure, hidden)
        if len(best) > 1 and cells is not None and _agree([means[at] for at in best], best, cells):
            best = best[:1]
        spare += [at for at in places if at not in best]
        if len(best) > 1:
            doubtful[figure] = [header[at] for at in best]
            continue
        read[best[0]] = means[best[0]]
    named = read.index("name") if "name" in read else None
    if contract.name == TABLE and cells is not None and (named is None or plain(header[named]) in WEAK):
        # a store's name beside its number
        beside = [at for at in spare if means[at] == "site_id" and _worded(_sample(cells[:, at]))]
        if beside and named is not None:
            read[named] = header[named]
        if beside:
            read[beside[0]] = "name"
    taken_for = {header[at]: read[at] for at in range(len(header)) if read[at] != header[at]}
    for typed, name in taken_for.items():
        if MARKS.sub("_", typed).strip("_") != name:
            notes.append(f'{contract.name}: the heading "{typed}" is taken for {name}')
    given = {own[name] for name in read if name in own}
    open_ = {header[at]: names for at, names in unclear.items() if not {own[name] for name in names} & given}
    return Taken(read, notes, doubtful, open_, taken_for)


def _sample(cells: pl.Series) -> pl.Series:
    return cells.cast(pl.String).str.strip_chars().drop_nulls().filter(cells.drop_nulls() != "").head(ENOUGH)


def _fitting(name: str, contract: Contract, below: pl.Series | None) -> str | None:
    """The column, or one beside it, that the cells below a heading may be of; None where none of them can be."""
    if below is None or (below := below.filter(~below.str.to_lowercase().is_in(NOTHING))).is_empty():
        return name
    each = next(each for each in contract.fields if name in each.names)
    digits = below.str.contains(NUMBER).mean()
    if name == "open_days" and below.str.contains(r"^[0-7](\.0+)?$").all():
        return "open_days_per_week"
    if name == "climate_zone":
        return name if _share(below, r"(?i)^(zone )?[0-8] ?[abc]?$") else None
    if name == "tariff_id":
        return None if _share(below, PRICE) else name
    if name == "state":
        words = below.str.to_lowercase().str.replace_all(r"[\s.]+", "_").str.strip_chars("_")
        known = {*(code.lower() for code in each.enum), *each.synonyms}
        return name if 2 * words.is_in(list(known)).sum() >= words.len() else None
    if each.clock:
        return name if below.str.contains(r"(?i)^(~?\d|noon|midnight|24)").mean() else None
    if each.kind in ("number", "integer"):
        return name if digits else None
    if each.category or each.enum:
        return None if _share(below, r"^[\d.,%°\s]+$") else name
    if name == "postal_code":
        return name if _share(below, r"\d{3}") else None
    return name


def _share(below: pl.Series, form: str) -> bool:
    return bool(2 * below.str.contains(form).sum() >= below.len())


def _worded(below: pl.Series) -> bool:
    return not below.is_empty() and _share(below, r"[A-Za-z]{3}")


def _of_units(names: Sequence[str], below: pl.Series | None) -> str | None:
    """Of columns of one figure that whose unit the cells carry themselves; None where they carry none, or several."""
    if below is None or below.is_empty():
        return None
    said = [name for name in names if (form := in_cell(name)) and _share(below, rf"(?i)\d\s*{form}\.?$")]
    return said[0] if len(said) == 1 else None


def _agree(names: Sequence[str], places: Sequence[int], cells: pl.DataFrame) -> bool:
    """Whether columns say one and the same, figure by figure in whatever unit or text by text, wherever two are filled."""
    texts = [cells[:, at].cast(pl.String).str.strip_chars() for at in places]
    frame = pl.DataFrame({str(at): text for at, text in enumerate(texts)})
    figures = frame.select(
        to_si(pl.col(str(at)).str.replace_all(",", "").cast(pl.Float64, strict=False), name).alias(str(at))
        for at, name in enumerate(names)
    )
    for at in range(1, len(names)):
        both = frame["0"].is_not_null() & frame[str(at)].is_not_null()
        near = ((figures[str(at)] - figures["0"]).abs() <= NEARLY * figures["0"].abs()).fill_null(False)
        same = (frame["0"].str.to_lowercase() == frame[str(at)].str.to_lowercase()).fill_null(False)
        if not both.any() or (both & ~near & ~same).any():
            return False
    return True


def _nearest(places: list[int], header: Sequence[str], figure: str, hidden: Collection[int]) -> list[int]:
    """Of several headings for one figure those that stand nearest to it: not hidden, said in full, of areas the conditioned
    one, of an id its number."""
    for nearer in (
        [at for at in places if at not in hidden],
        [at for at in places if plain(header[at]) not in WEAK],
        [at for at in places if figure == "floor_area_m2" and "conditioned" in plain(header[at])],
        [at for at in places if figure == "site_id" and re.search(r"\b(number|no|id)$", plain(header[at]))],
    ):
        places = nearer or places
    return places


def words(contract: Contract) -> Collection[str]:
    """Lower-case headings that a sheet may have beside the names of columns, to find its header and its separator by."""
    return usual().keys() if contract.name == TABLE else ()
