"""Words that people write into cells beside figures: for nothing at all, for about, for the unit of a figure."""

from screener import units

NOTHING = (
    *(
        "n/a",
        "n.a.",
        "na",
        "#n/a",
        "tbd",
        "t.b.d.",
        "tba",
        "-",
        "--",
        "---",
        "–",
        "—",
        "?",
        "??",
        "unknown",
        "unk",
        "null",
    ),
    *("not available", "not known", "to be determined", "…", "...", "none given", "(blank)", "#n/a n/a", "pending"),
)
ABOUT = r"(?i)^(~|≈|approx(imately)?\.?|about|ca\.?|circa|est\.?|\+/-)\s*"
AFTER = r"(?i)\s*(\(?(approx(imately)?\.?|est(imated)?\.?|\+/-)\)?|\*+|[†‡])$"
THOUSANDS = r"^([+-]?\d+(?:\.\d+)?)\s*[kK]$"
IN_CELLS = {  # words for the unit that a column's name ends in, after a figure
    "ft2": r"(sq\.? ?ft\.?|sqft|sq\.? ?feet|sf|ft2|ft²|ft\^2|square feet)",
    "m2": r"(sq\.? ?m\.?|sqm|m2|m²|square met(er|re)s)",
    "tons": r"(tons?|tr)",
    "kw": r"kw",
    "btu_h": r"(btu/?hr?|btuh)",
    "kwh": r"kwh",
    "cfm": r"cfm",
    "l_s": r"(l/s|lps)",
    "f": r"(°|deg\.?)? ?f",
    "c": r"(°|deg\.?)? ?c",
    "pct": r"(%|percent)( rh)?",
    "ft": r"(ft\.?|feet|lf|')",
    "m": r"m",
    "eer": r"(eer|btu/wh)",
    "cop": r"cop",
}


def unit(name: str) -> str:
    """The unit that the name of a column ends in, as the words in cells are listed by."""
    return units.unit_of(name) or name.rpartition("_")[2]


def in_cell(name: str) -> str | None:
    """A pattern of the unit of a column as it stands after a figure; None for a column without."""
    return IN_CELLS.get(unit(name))
