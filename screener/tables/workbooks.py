"""Sheets of an Excel workbook as texts, read in a stream that ends where a table would become too large [ECMA-376 part 1, 18].

A workbook is a zip file of XML, and a small one may unpack to a huge one, say that it is smaller than it is, or hold one
cell far from all others. So nothing is asked of it but what passes by: bytes, elements and cells are counted as they come,
and every cell stands where its file says, one with an error too.
"""

import datetime
import posixpath
import re
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from xml.parsers import expat

import polars as pl

MOST_CELLS = 5_000_000  # rows times columns
MOST_TAGS = 6 * MOST_CELLS  # a cell has one before and one after it and each thing in it
MOST_COLUMNS = 1_000
MOST_UNPACKED = 300_000_000  # bytes of the parts that are read
MOST_LISTED = 5_000_000  # bytes of the list of parts, some 50,000 of them
CHUNK = 1 << 16
END, END_SIZE = b"PK\5\6", 22  # the record at the end of a zip file [APPNOTE 4.3.16], followed by a comment
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # the two that a package may use [ECMA-376 part 2, annex B]
LETTERS = re.compile(r"[A-Z]{1,3}")  # of a column
DIGITS = "0123456789"
ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")  # a character that XML has no way to write [22.9.2.19]
NOT_CODES = re.compile(r'"[^"]*"|\\.|_.|\*.|\[[^\]]*\]')  # parts of a number format that are text, fill or colour
PERCENTS = {9, 10}
DATES, TIMES = {*range(14, 18), 22, *range(27, 37), *range(50, 59)}, {18, 19, 20, 21, 45, 46, 47}  # [18.8.30]
DAY_ZERO = {False: datetime.datetime(1899, 12, 30), True: datetime.datetime(1904, 1, 1)}  # by `date1904` [18.17.4.1]
Attributes = Mapping[str, str]
DATE, TIME, PERCENT = "date", "time", "percent"  # what a number format shows
MERGED = re.compile(r"([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})")
MOST_MERGED = 100_000


@dataclass(frozen=True)
class SheetCells:
    """A sheet: every cell as text from row 1 and column A, and what it hides: rows from 1, columns from 0."""

    grid: pl.DataFrame
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()


class TooLargeError(Exception):
    """A workbook with more than is read: what it `has`, and the `most` there may be."""

    def __init__(self, has: str, most: str) -> None:
        self.has, self.most = has, most
        super().__init__(f"{has}, more than {most}")


class _Package:
    """A workbook's parts, from all of which together no more than `MOST_UNPACKED` is read."""

    def __init__(self, zipped: zipfile.ZipFile) -> None:
        self._zipped, self._read, self._parts = zipped, 0, set(zipped.namelist())

    def __contains__(self, part: str) -> bool:
        return part in self._parts

    def parse(
        self,
        part: str,
        start: Callable[[str, Attributes], None],
        end: Callable[[str], None] | None = None,
        text: Callable[[str], None] | None = None,
    ) -> None:
        """Hand the elements of a part, without their prefixes, to `start` and `end`, and what stands in them to `text`."""
        if self._zipped.getinfo(part).compress_type not in METHODS:
            raise ValueError(f"{part} is packed in a way that workbooks do not use")
        parser, plain = expat.ParserCreate(), _Plain()
        parser.buffer_text = True
        parser.StartElementHandler = lambda name, attributes: start(plain[name], attributes)
        if end is not None:
            parser.EndElementHandler = lambda name: end(plain[name])
        if text is not None:
            parser.CharacterDataHandler = text
        parser.StartDoctypeDeclHandler = _refuse  # no workbook has one; definitions in it could grow without end
        tags = 0
        with self._zipped.open(part) as stream:
            while chunk := stream.read(CHUNK):
                self._read += len(chunk)
                tags += chunk.count(b"<")
                if self._read > MOST_UNPACKED:
                    raise TooLargeError(f"{self._read:,} bytes and more unpacked", f"{MOST_UNPACKED:,}")
                if tags > MOST_TAGS:
                    raise TooLargeError(f"{tags:,} tags and more", f"{MOST_TAGS:,}")
                parser.Parse(chunk)
        parser.Parse(b"", True)


class _Plain(dict[str, str]):
    """Names of elements by their names with a prefix."""

    def __missing__(self, name: str) -> str:
        if len(self) > MOST_COLUMNS:
            raise ValueError("it has elements of more kinds than any workbook")
        self[name] = plain = name.rpartition(":")[2]
        return plain


def _refuse(*_: object) -> None:
    raise ValueError("it declares a document type, which no workbook does")


@contextmanager
def _opened(file: Path) -> Iterator[_Package]:
    _require_short_list(file)
    with zipfile.ZipFile(file) as zipped:
        yield _Package(zipped)


def _require_short_list(file: Path) -> None:
    """The list of parts is read whole: its size stands at the end of the file."""
    with file.open("rb") as content:
        content.seek(max(0, file.stat().st_size - END_SIZE - 0xFFFF))
        tail = content.read()
    at = tail.rfind(END)
    listed = int.from_bytes(tail[at + 12 : at + 16], "little") if at >= 0 else 0
    if listed > MOST_LISTED:
        raise TooLargeError(f"a list of parts of {listed:,} bytes", f"{MOST_LISTED:,}")


def sheet_names(file: Path) -> list[str]:
    """The names of the sheets that can be seen, in order; none where the file is no workbook."""
    return [name for name, hidden in sheets(file).items() if not hidden]


def sheets(file: Path) -> dict[str, bool]:
    """The names of the sheets, in order, and whether each is hidden; none where the file is no workbook."""
    try:
        with _opened(file) as package:
            return {name: hidden for name, (_, hidden) in _sheets(package).items()}
    except (OSError, ValueError, LookupError, RuntimeError, zipfile.BadZipFile, expat.ExpatError, TooLargeError):
        return {}


def cells(file: Path, sheet: str) -> pl.DataFrame:
    """Every cell of a sheet as text, from row 1 and column A, empty ones too; an error cell as `#DIV/0!`.

    TooLargeError as soon as there is more than may be read.
    """
    return read(file, sheet).grid


def read(file: Path, sheet: str) -> SheetCells:
    """A sheet whole. Of cells merged one above another each says what the first says."""
    with _opened(file) as package:
        reader = _read(package, _Shared(package), sheet)
    return SheetCells(reader.grid(), frozenset(reader.hidden_rows), frozenset(reader.hidden_columns))


def tops(file: Path, names: Iterable[str], rows: int) -> dict[str, pl.DataFrame]:
    """The first rows of several sheets, as `cells` has them."""
    with _opened(file) as package:
        shared = _Shared(package)
        return {name: _read(package, shared, name, rows).grid() for name in names}


class _Shared:
    """What the sheets of a workbook share: texts, formats, and the day they count from."""

    def __init__(self, package: _Package) -> None:
        links = _links(package)
        self.parts = {name: part for name, (part, _) in _sheets(package).items()}
        self.strings = _strings(package, links.get("sharedStrings", ""))
        self.formats = _formats(package, links.get("styles", ""))
        self.day_zero = DAY_ZERO[_from_1904(package)]


def _read(package: _Package, shared: _Shared, sheet: str, rows: int | None = None) -> "_Sheet":
    reader = _Sheet(shared.strings, shared.formats, shared.day_zero, rows)
    with suppress(_EnoughError):
        package.parse(shared.parts[sheet], reader.start, reader.end, reader.text)
    return reader


class _EnoughError(Exception):
    """As many rows as were asked for."""


def _sheets(package: _Package) -> dict[str, tuple[str, bool]]:
    """The part of each sheet by its name, and whether it is hidden [18.2.19]."""
    found: dict[str, tuple[str, bool]] = {}
    links = _links(package)

    def start(name: str, attributes: Attributes) -> None:
        if name == "sheet":
            link = next((value for key, value in attributes.items() if key.endswith(":id")), "")
            found[attributes["name"]] = links.get(link, ""), attributes.get("state", "visible") != "visible"

    package.parse("xl/workbook.xml", start)
    return found


def _links(package: _Package) -> dict[str, str]:
    """The parts that a workbook refers to, by the name of the reference and by the last word of its type."""
    found: dict[str, str] = {}

    def start(name: str, attributes: Attributes) -> None:
        if name == "Relationship":
            target = posixpath.normpath(posixpath.join("/xl", attributes.get("Target", ""))).lstrip("/")
            found[attributes.get("Id", "")] = target
            found.setdefault(attributes.get("Type", "").rpartition("/")[2], target)

    package.parse("xl/_rels/workbook.xml.rels", start)
    return found


def _from_1904(package: _Package) -> bool:
    found = False

    def start(name: str, attributes: Attributes) -> None:
        nonlocal found
        found = found or (name == "workbookPr" and attributes.get("date1904") in ("1", "true"))

    package.parse("xl/workbook.xml", start)
    return found


def _strings(package: _Package, part: str) -> list[str]:
    """The texts that cells share [18.4.9], without how they are read aloud."""
    found: list[str] = []
    pieces: list[str] = []
    inside = {"t": False, "rPh": False}

    def start(name: str, attributes: Attributes) -> None:
        if name in inside:
            inside[name] = True

    def end(name: str) -> None:
        if name in inside:
            inside[name] = False
        elif name == "si":
            found.append(_unescaped("".join(pieces)))
            pieces.clear()

    def text(characters: str) -> None:
        if inside["t"] and not inside["rPh"]:
            pieces.append(characters)

    if part in package:
        package.parse(part, start, end, text)
    return found


def _formats(package: _Package, part: str) -> dict[str, str]:
    """The cell styles, by number, that show a number as a DATE, with a time or without, a TIME alone or a PERCENT."""
    codes: dict[int, str] = {}
    formats: list[int] = []
    where: list[str] = []

    def start(name: str, attributes: Attributes) -> None:
        if name == "numFmt":
            codes[int(attributes.get("numFmtId", "0"))] = attributes.get("formatCode", "")
        elif name == "xf" and where and where[-1] == "cellXfs":
            formats.append(int(attributes.get("numFmtId", "0")))
        elif name.endswith("Xfs"):
            where.append(name)

    if part in package:
        package.parse(part, start)
    kinds = ((str(number), _shows(code, codes)) for number, code in enumerate(formats))
    return {number: kind for number, kind in kinds if kind is not None}


def _shows(number: int, codes: Mapping[int, str]) -> str | None:
    """Whether a number format shows a date, a time of day alone, a percentage, or none of them."""
    if number in codes:
        code = NOT_CODES.sub("", codes[number].split(";")[0][:1000]).lower()
        if "%" in code:
            return PERCENT
        hours = "[h" in codes[number].lower()  # hours that count on beyond a day
        letters = set(code) if "general" not in code else set()
        return (
            DATE if letters & set("dy") else TIME if letters & set("hs") or hours else DATE if "m" in letters else None
        )
    if number in PERCENTS:
        return PERCENT
    return DATE if number in DATES else TIME if number in TIMES else None


class _Sheet:
    """What is read of a sheet as its elements pass by [18.3.1]."""

    def __init__(
        self, strings: list[str], formats: Mapping[str, str], day_zero: datetime.datetime, most: int | None = None
    ) -> None:
        self._strings, self._formats, self._day_zero, self._most = strings, formats, day_zero, most
        self.hidden_rows: set[int] = set()
        self.hidden_columns: set[int] = set()
        self._merged: list[tuple[int, int, int]] = []  # column, first and last row
        self._rows: list[list[str | None]] = []
        self._width = self._characters = 0
        self._row = self._column = -1
        self._columns: dict[str, int] = {}  # by their letters
        self._digits = ""  # of the row in the name of the cell before
        self._kind, self._style, self._aloud, self._taken = "n", "", False, False
        self._pieces: list[str] = []

    def start(self, name: str, attributes: Attributes) -> None:
        if name == "c":
            self._go(attributes.get("r", ""))
            self._kind, self._style = attributes.get("t", "n"), attributes.get("s", "")
        elif name == "v" or name == "t":
            self._taken = not self._aloud
        elif name == "row":
            given = attributes.get("r", "")
            self._row = max(int(given) - 1, 0) if 0 < len(given) < 8 and not given.strip(DIGITS) else self._row + 1
            self._column, self._digits = -1, ""
            if self._most is not None and self._row >= self._most:
                raise _EnoughError
            if attributes.get("hidden") in ("1", "true") and len(self.hidden_rows) < MOST_CELLS:
                self.hidden_rows.add(self._row + 1)
        elif name == "rPh":
            self._aloud = True
        elif name == "col":
            self._hide(attributes)
        elif name == "mergeCell" and (place := MERGED.fullmatch(attributes.get("ref", ""))):
            self._merge(*place.groups())

    def _hide(self, attributes: Attributes) -> None:
        """Columns that the sheet does not show [18.3.1.13]."""
        first, last = attributes.get("min", ""), attributes.get("max", "")
        if attributes.get("hidden") in ("1", "true") and first.isdecimal() and last.isdecimal():
            self.hidden_columns |= {*range(int(first[:6]) - 1, min(int(last[:6]), MOST_COLUMNS))}

    def _merge(self, left: str, top: str, _: str, bottom: str) -> None:
        """Cells merged over several rows; over columns the first one keeps the text [18.3.1.55]."""
        if top != bottom and len(self._merged) < MOST_MERGED:
            self._merged.append((_number(left), int(top) - 1, int(bottom) - 1))

    def _go(self, place: str) -> None:
        """To the cell of that name, `AB12`; to the next one where it has none or no such name."""
        letters = place.rstrip(DIGITS)
        column = self._columns.get(letters)
        if column is None and LETTERS.fullmatch(letters):
            column = self._columns[letters] = _number(letters)
        digits = place[len(letters) :]
        if column is None or not 0 < len(digits) < 8:
            self._column += 1
            return
        self._column = column
        if digits != self._digits:
            self._digits, self._row = digits, max(int(digits) - 1, 0)

    def text(self, characters: str) -> None:
        if self._taken:
            self._pieces.append(characters)

    def end(self, name: str) -> None:
        if name == "c":
            text = "".join(self._pieces)
            self._pieces.clear()
            if text:
                self._put(self._read(text))
        elif name == "v" or name == "t":
            self._taken = False
        elif name == "rPh":
            self._aloud = False

    def _read(self, text: str) -> str:
        """A cell's value as text [18.3.1.4, 18.18.11]."""
        if self._kind == "s":
            return self._strings[int(text)]
        if self._kind == "b":
            return "true" if text.strip() in ("1", "true") else "false"
        if self._kind != "n":
            return _unescaped(text)
        if self._style not in self._formats and len(text) < 16 and not text.strip(DIGITS):
            return str(int(text))
        try:
            value = float(text)
        except ValueError:
            return text
        shown = self._formats.get(self._style)
        if shown == PERCENT:
            return f"{value * 100:.12g}%"
        if shown is not None and (moment := self._at(value, shown == DATE)):
            return moment
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)

    def _at(self, value: float, is_date: bool) -> str | None:
        """A number of days as the moment it shows; None where there is none."""
        try:
            moment = self._day_zero + datetime.timedelta(seconds=round(value * 86_400))
        except (OverflowError, ValueError):
            return None
        if is_date:
            return f"{moment:%Y-%m-%d %H:%M:%S}"
        if not 0 <= value < 1:  # the end of the day, and what counts on
            minutes = round(value * 1440)
            return f"{minutes // 60}:{minutes % 60:02}" if 0 < value < 1000 else None
        return f"{moment:%H:%M:%S}" if moment.second else f"{moment:%H:%M}"

    def _put(self, text: str) -> None:
        if self._row >= len(self._rows) or self._column >= self._width:
            self._require_room(max(self._row + 1, len(self._rows)), max(self._column + 1, self._width))
            self._width = max(self._column + 1, self._width)
            self._rows.extend([] for _ in range(self._row + 1 - len(self._rows)))
        self._characters += len(text)
        if self._characters > MOST_UNPACKED:
            raise TooLargeError(f"{self._characters:,} characters and more", f"{MOST_UNPACKED:,}")
        row = self._rows[self._row]
        if self._column >= len(row):
            row.extend([None] * (self._column + 1 - len(row)))
        row[self._column] = text

    def _require_room(self, rows: int, columns: int) -> None:
        if columns > MOST_COLUMNS or rows * columns > MOST_CELLS:
            most = f"{MOST_COLUMNS:,} columns" if columns > MOST_COLUMNS else f"{MOST_CELLS:,} cells"
            raise TooLargeError(f"a cell in row {self._row + 1:,} and column {self._column + 1:,}", most)

    def grid(self) -> pl.DataFrame:
        """The cells, with a column of texts for each of the sheet."""
        filled = 0
        for column, top, bottom in self._merged:
            last = min(bottom, len(self._rows) - 1)
            filled += max(last - top, 0)
            if top > last or column >= len(self._rows[top]) or filled > MOST_CELLS:
                continue
            for row in self._rows[top + 1 : last + 1]:
                row.extend([None] * (column + 1 - len(row)))
                row[column] = self._rows[top][column] if row[column] is None else row[column]
        columns = range(self._width)
        texts = {f"column_{i}": [row[i] if i < len(row) else None for row in self._rows] for i in columns}
        return pl.DataFrame(texts, schema=dict.fromkeys(texts, pl.String))


def _unescaped(text: str) -> str:
    """A text with the characters that are written `_x000D_`; halves of a pair stay as they are."""
    if "_x" not in text:
        return text
    return ESCAPE.sub(lambda m: m[0] if 0xD800 <= (code := int(m[1], 16)) < 0xE000 else chr(code), text)


def _number(letters: str) -> int:
    """Column A is 0, AA is 26."""
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number - 1
