"""The humidity a space settles at when what comes in equals what goes out: closed form, no iteration.

Air exchange, refrigerated cases and a cooling coil all remove more water the damper the space is, each along a straight
line that ends somewhere: a case cannot take more than its coil can carry, none of them takes less than nothing. The net
gain is then a falling, piecewise straight line of humidity, and its zero is the largest or smallest of a few roots.
"""

from dataclasses import dataclass, replace

from screener.formula import Number, between, larger, smaller

CASE_MOST = 1.2  # largest moisture credit of a display case over its rated one, practice


@dataclass(frozen=True)
class Space:
    """What wets and dries the space besides its equipment.

    gain_kg_s: people and processes; air_kg_s with outdoor_humidity_ratio: outdoor air, however it gets in;
    case_kg_s: the cases' moisture credit at their rating ambient, straight from zero at case_dry_humidity_ratio to
    one at case_rated_humidity_ratio and on to CASE_MOST.
    """

    gain_kg_s: Number
    air_kg_s: Number
    outdoor_humidity_ratio: Number
    case_kg_s: Number
    case_dry_humidity_ratio: Number
    case_rated_humidity_ratio: Number

    def less(self, removed_kg_s: Number) -> "Space":
        """The space when a device takes this much water whatever the humidity.

        >>> Space(0.002, 0.5, 0.012, 0.0, 0.0025, 0.01027).less(0.001).gain_kg_s
        0.001
        """
        return replace(self, gain_kg_s=self.gain_kg_s - removed_kg_s)

    def case_credit(self, humidity_ratio: Number) -> Number:
        """Water the cases take from the space held at this humidity [kg/s].

        For example, at the rating ambient all of it:

        >>> round(Space(0.0, 1.0, 0.0, 0.01, 0.0025, 0.01027).case_credit(0.01027), 6)
        0.01
        """
        span = self.case_rated_humidity_ratio - self.case_dry_humidity_ratio
        return self.case_kg_s * between((humidity_ratio - self.case_dry_humidity_ratio) / span, 0.0, CASE_MOST)

    def net_gain(self, humidity_ratio: Number) -> Number:
        """Net moisture gain of the space held at this humidity [kg/s].

        For example, 0.002 + 0.5 (0.012 - 0.010), by hand:

        >>> round(Space(0.002, 0.5, 0.012, 0.0, 0.0025, 0.01027).net_gain(0.010), 6)
        0.003
        """
        through_air = self.air_kg_s * (self.outdoor_humidity_ratio - humidity_ratio)
        return self.gain_kg_s + through_air - self.case_credit(humidity_ratio)

    def settled(self, removal_kg_s: Number, slope: Number, at: Number) -> Number:
        """Humidity ratio [kg/kg] at which the net gain equals what the equipment removes.

        The equipment removes max(0, removal + slope (W - at)) with slope >= 0. Exact: with the credit of the cases as
        max and min of straight lines, the zero of a max (min) of falling lines is the max (min) of their zeros.

        For example, no coil: 0.002 kg/s in 0.5 kg/s of air are 4 g/kg above outdoors:

        >>> round(Space(0.002, 0.5, 0.012, 0.0, 0.0025, 0.01027).settled(0.0, 0.0, 0.010), 6)
        0.016
        """
        span = self.case_rated_humidity_ratio - self.case_dry_humidity_ratio
        case_slope = self.case_kg_s / span
        inflow = self.gain_kg_s + self.air_kg_s * self.outdoor_humidity_ratio
        case_inflow = inflow + case_slope * self.case_dry_humidity_ratio
        equipment = removal_kg_s - slope * at
        most = CASE_MOST * self.case_kg_s
        m = self.air_kg_s
        cases_within_reach = smaller(
            inflow / m,
            (inflow - equipment) / (m + slope),
            case_inflow / (m + case_slope),
            (case_inflow - equipment) / (m + case_slope + slope),
        )
        cases_at_most = smaller((inflow - most) / m, (inflow - most - equipment) / (m + slope))
        return larger(cases_within_reach, cases_at_most)
