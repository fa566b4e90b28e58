"""Reading a page the way a stranger's program would: the standard library's parsers, nothing of the report's own."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"


@dataclass
class Page(HTMLParser):
    """Tables by id (headings by their column, rows of texts and values), totals, tags, links and drawings."""

    tables: dict[str, list[dict[str, str]]] = field(default_factory=dict)
    totals: dict[str, float] = field(default_factory=dict)
    tags: list[str] = field(default_factory=list)
    loads: list[str] = field(default_factory=list)
    text: str = ""

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._columns: list[str] = []
        self._table = ""
        self._row: list[str] = []
        self._value: str | None = None
        self._cell = ""
        self._inside = False
        self._behind = False
        self._told = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        self.tags.append(tag)
        self.loads += [str(has[name]) for name in ("src", "href", "action", "data") if name in has]
        if "data-total" in has:
            self.totals[str(has["data-total"])] = float(str(has["data-value"]))
        if tag == "table":
            self._table, self._columns = str(has["id"]), []
            self.tables[self._table] = []
        if tag == "th" and "data-column" in has:
            self._columns.append(str(has["data-column"]))
        elif tag == "dd" and "data-column" in has:
            self._told, self._inside, self._cell, self._value = str(has["data-column"]), True, "", has.get("data-value")
        elif tag in ("td", "th") and not self._behind:
            self._inside, self._cell, self._value = True, "", has.get("data-value")
        if tag == "tr":
            self._row, self._behind = [], "behind" in str(has.get("class"))

    def handle_endtag(self, tag: str) -> None:
        if tag == "dd" and self._told:
            self.tables[self._table][-1][self._told] = self._cell if self._value is None else self._value
            self._told, self._inside = "", False
        if tag in ("td", "th") and self._inside:
            self._row.append(self._cell if self._value is None else self._value)
            self._inside = False
        if tag == "tr" and self._row:
            self.tables[self._table].append(dict(zip(self._columns, self._row, strict=True)))

    def handle_data(self, data: str) -> None:
        self.text += data
        if self._inside:
            self._cell += data


def page(html: str) -> Page:
    """The page of a document."""
    found = Page()
    found.feed(html)
    return found


def drawing(svg: str) -> ElementTree.Element:
    """The root of a drawing; it must be well-formed XML."""
    return ElementTree.fromstring(svg)


def shapes(root: ElementTree.Element, *attributes: str) -> list[dict[str, str]]:
    """The attributes of every shape that carries all of these."""
    return [each.attrib for each in root.iter() if all(name in each.attrib for name in attributes)]
