"""Where a number comes from: a site's year, one of its hours, and both in words."""

from screener.explain.account import Document, explain, of_folder, site
from screener.explain.bill import of_year as bills
from screener.explain.printing import checks, printed
from screener.explain.type_figures import in_words as assumed_in_words
from screener.explain.type_figures import origins as origins_of_type
from screener.explain.year import Year, year

__all__ = [
    "Document",
    "Year",
    "assumed_in_words",
    "bills",
    "checks",
    "explain",
    "of_folder",
    "origins_of_type",
    "printed",
    "site",
    "year",
]
