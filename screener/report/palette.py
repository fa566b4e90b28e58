"""Colours and hatches that stay apart for colour-blind readers and in grey print.

Neighbours in a stack differ in lightness first and in hue second; whatever is burnt is hatched. tests/report checks
both, with a published simulation of colour-blind sight.
"""

from dataclasses import dataclass

from markupsafe import Markup

from screener.contracts import end_uses
from screener.report.svg import element, join, line

PAPER = "#fdfcf9"
INK = "#1c2730"


@dataclass(frozen=True)
class Fill:
    """How an area is filled: a colour, and whether it is hatched with white."""

    colour: str
    hatched: bool = False

    def paint(self, chart: str) -> str:
        """The value of `fill` inside a chart that has `patterns` of that name."""
        return f"url(#{self._id(chart)})" if self.hatched else self.colour

    def pattern(self, chart: str) -> Markup:
        """The definition of the hatching."""
        stripes = line(0, 3, 6, 3, stroke=PAPER, stroke_width=2.2)
        ground = element("rect", width=6, height=6, fill=self.colour)
        return element(
            "pattern",
            ground + stripes,
            id=self._id(chart),
            width=6,
            height=6,
            patternUnits="userSpaceOnUse",
            patternTransform="rotate(45)",
        )

    def _id(self, chart: str) -> str:
        return f"{chart}-hatch-{self.colour.lstrip('#')}"


DARK_BLUE, PALE_BLUE, OCHRE, BRICK, CLAY = "#2f5d73", "#b4d2dc", "#d68f22", "#7d2a1c", "#f0d3be"

_FILLS = {
    "compressor_kwh": Fill(DARK_BLUE),
    "fans_kwh": Fill(PALE_BLUE),
    "dehumidifier_kwh": Fill(OCHRE),
    "reheat_electricity_kwh": Fill(BRICK),
    "heating_electricity_kwh": Fill(CLAY),
    "reheat_fuel_kwh": Fill(BRICK, hatched=True),
    "regeneration_fuel_kwh": Fill(OCHRE, hatched=True),
    "heating_fuel_kwh": Fill("#6f6862", hatched=True),
}
END_USES = {
    use.energy_kwh: (use.name, _FILLS[use.energy_kwh]) for use in end_uses.END_USES
}  # its name, how it is drawn

SHADES = ("#dbe8ed", "#aecdd8", "#6f9fb2", "#2f5d73")  # from little to much; text on the last is white


def patterns(chart: str, fills: list[Fill]) -> Markup:
    """The hatchings a chart needs."""
    return element("defs", join(fill.pattern(chart) for fill in dict.fromkeys(fills) if fill.hatched))
