"""Drawing in SVG: elements as escaped text, straight scales with round marks, and what every chart carries.

Everything that comes from a table passes through `element`, which escapes text and attributes alike; values are put
beside the shapes as `data-` attributes, to nine significant figures as in the tables, so that a picture can be checked.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from markupsafe import Markup, escape

STYLES = Path(__file__).parent / "templates" / "chart.css"
WIDTH = 440.0  # of a chart: at 390 px, a telephone, letters of 13 still measure 10
NOTHING = Markup("")
CONTROLS = re.compile("[\\x00-\\x1f\\x7f-\\x9f\\ud800-\\udfff\\ufffe\\uffff]")


@dataclass(frozen=True)
class Chart:
    """A picture with all that it needs to stand alone.

    `name` is unique on a page; `unit` and `source` are shown below it; `description` says in words what it shows, for
    those who do not see it.
    """

    name: str
    title: str
    unit: str
    source: str
    description: str
    width: float
    height: float
    body: Markup
    notes: Sequence[str] = field(default=())

    @property
    def svg(self) -> Markup:
        """The picture as an element of a page that has the styles of charts."""
        return self._drawn(NOTHING)

    @property
    def alone(self) -> str:
        """The picture as a file of its own."""
        style = element("style", Markup(STYLES.read_text(encoding="utf-8")))  # of the package, not of a table
        paper = element("rect", class_="paper", width=self.width, height=self.height)
        return str(self._drawn(style + paper, width=self.width, height=self.height)) + "\n"

    def _drawn(self, before: Markup, **size: float) -> Markup:
        titles = element("title", self.title, id=f"{self.name}-title")
        titles += element("desc", self.description, id=f"{self.name}-desc")
        return element(
            "svg",
            titles + before + self.body,
            xmlns="http://www.w3.org/2000/svg",
            class_="chart",
            viewBox=f"0 0 {number(self.width)} {number(self.height)}",
            role="img",
            aria_labelledby=f"{self.name}-title {self.name}-desc",
            **size,
        )


def element(tag: str, content: object = NOTHING, /, **attributes: object) -> Markup:
    """`<tag attributes>content</tag>`, escaped unless already markup.

    Names of attributes lose a trailing underscore and get hyphens for the others; None leaves one out. Coordinates are
    written to a hundredth, `data_` attributes as in the tables.
    """
    written = "".join(
        f' {_attribute(name)}="{escape(drawable(_value(name, value)))}"'
        for name, value in attributes.items()
        if value is not None
    )
    inside = escape(drawable(content))
    return Markup(f"<{tag}{written}/>" if not inside else f"<{tag}{written}>{inside}</{tag}>")


def drawable(content: object) -> object:
    """Text with a mark for every character that XML 1.0 does not allow or that only controls [2.2]; markup as it is."""
    if isinstance(content, Markup) or not isinstance(content, str):
        return content
    return CONTROLS.sub("\N{REPLACEMENT CHARACTER}", content)


def _attribute(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


def _value(name: str, value: object) -> str:
    if isinstance(value, float):
        return f"{value:.9g}" if name.startswith("data_") else number(value)
    return str(value)


def number(value: float) -> str:
    """A coordinate to a hundredth, without trailing zeros."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text


def join(parts: Iterable[Markup]) -> Markup:
    """Elements one after the other."""
    return NOTHING.join(parts)


def label(x: float, y: float, words: object, **attributes: object) -> Markup:
    """Text whose baseline starts at x, y; `anchor` is start, middle or end."""
    anchor = attributes.pop("anchor", None)
    return element("text", words, x=x, y=y, text_anchor=anchor, **attributes)


def line(x1: float, y1: float, x2: float, y2: float, **attributes: object) -> Markup:
    """A straight line."""
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, **attributes)


def path(points: Iterable[tuple[float, float]]) -> str:
    """The `d` of a line through points."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)


@dataclass(frozen=True)
class Scale:
    """A straight scale from values to places on the paper."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Where a value lies."""
        span = self.high - self.low
        return self.start + (value - self.low) / span * (self.end - self.start) if span else self.start

    def marks(self, about: int = 5) -> list[float]:
        """Round values inside the scale, about so many."""
        step = round_step((self.high - self.low) / max(about, 1))
        first = math.ceil(self.low / step - 1e-9)
        last = math.floor(self.high / step + 1e-9)
        return [round(k * step, 12) + 0.0 for k in range(first, last + 1)]


def round_step(rough: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    if rough <= 0 or not math.isfinite(rough):
        return 1.0
    power = 10.0 ** math.floor(math.log10(rough))
    return next(f * power for f in (1.0, 2.0, 5.0, 10.0) if f * power >= rough * (1 - 1e-9))


def scale_to(values: Iterable[float], start: float, end: float, about: int = 5) -> Scale:
    """A scale from zero, or from below it, to a round value above the highest."""
    known = [0.0, *values]
    low, high = min(known), max(known)
    step = round_step((high - low) / about)
    return Scale(math.floor(low / step) * step, max(math.ceil(high / step - 1e-9), 1) * step, start, end)


def short(value: float) -> str:
    """A figure at the edge of a chart: 1,200 as 1.2 k, 3,400,000 as 3.4 M."""
    for factor, unit in ((1e9, " G"), (1e6, " M"), (1e3, " k")):
        if abs(value) >= factor * (10 if unit == " k" else 1):
            return f"{value / factor:.3g}{unit}"
    return f"{value:,.0f}" if abs(value) >= 100 or value == round(value) else f"{value:.3g}"


def nothing_to_show(name: str, title: str, source: str, reason: str) -> Chart:
    """A chart that says why there is nothing on it."""
    words = label(WIDTH / 2, 44.0, reason, anchor="middle", class_="quiet")
    return Chart(name, title, "", source, reason, WIDTH, 80.0, words)
