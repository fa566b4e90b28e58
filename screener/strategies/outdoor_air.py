"""A dedicated unit that cools and dries the ventilation air until it carries the moisture load of the whole space.

While the site is open it treats the outdoor air; while it is closed it recirculates space air at the same flow. The
supply humidity follows the load, down to the coldest the coil can do. Its cold air also cools the space as far as the
space wants cooling; beyond that it is reheated with the unit's own condenser heat, at most to the temperature of the
space. What the installed coil removes while it cools the rest is not asked of the unit.

How much cooling is left to the installed coil depends on the supply temperature, so on the supply humidity: one Newton
step on the saturation curve, the last straight line solved exactly.
"""

import polars as pl

from screener.bounds import at_least, between
from screener.hour import SPACE
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.strategies import installed, temperature_only
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier"
EXTRA_FAN_W_L_S = 0.45  # 250 Pa of coils and filters at 55 % fan efficiency, common practice, no source
LEAST_RESPONSE = 0.2  # of the water removed to what the unit takes: keeps the Newton step from running away


def fan_w() -> pl.Expr:
    """Extra fan power at the unit's design flow [W]."""
    return pl.col("ventilation_kg_s") / pl.col("air_density_kg_m3") * 1000 * EXTRA_FAN_W_L_S


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air; the installed coil, now on space air alone, cools what is left."""
    own = sheet.section(f"{NAME}.damp")
    c = pl.col
    flow, needed, limit = c("ventilation_kg_s"), c("moisture_at_limit_kg_s"), c("limit_humidity_ratio")
    is_open = c("open") > 0
    t_in = own.let("entering_c", pl.when(is_open).then(c("outdoor_c")).otherwise(c("temperature_only.space_c")))
    w_in = own.let("entering_humidity_ratio", pl.when(is_open).then(c("outdoor_humidity_ratio")).otherwise(limit))
    at_most = own.let("able_kg_s", flow * at_least(w_in - c("coldest_supply_humidity_ratio"), 0.0), "at its coldest")

    coil = _Coil(own, short=needed > at_most)
    alone = pl.min_horizontal(needed, at_most)
    first = unit.treat(own.section("alone"), w_in - alone / flow, c("pressure_pa"))
    left = _left_to_the_coil(flow, t_in, first.leaving_c)
    share = own.let("first_share_kg_s", between(needed - coil.lam * left, 0.0, at_most), "less what the coil removes")

    supply = own.section("supply")
    near = supply.let("first_humidity_ratio", w_in - share / flow)
    treated = unit.treat(supply, near, c("pressure_pa"))
    # kilograms not taken leave the supply warmer, and the coil more to cool: d(left)/d(device), a straight line
    per_kg = air.CP_MOIST_AIR * treated.leaving_c_per_humidity
    left = _left_to_the_coil(flow, t_in, treated.leaving_c)
    wanted = share + (needed - share - coil.lam * left) / pl.when(left > 0).then(
        at_least(1 - coil.lam * per_kg, LEAST_RESPONSE)
    ).otherwise(1.0)
    device = own.let("takes_kg_s", between(wanted, 0.0, at_most), "water the unit takes")
    leaving = treated.leaving_c - treated.leaving_c_per_humidity * (device - share) / flow
    leaving = own.let("leaving_c", pl.min_horizontal(leaving, t_in), "saturated supply, before reheat")
    chilled = own.let("chilled_w", flow * air.CP_MOIST_AIR * (t_in - leaving), "sensible heat taken from the air")
    duty = chilled + device * (air.LATENT_HEAT_0C + air.CP_VAPOUR * t_in)
    power = own.let("unit_w", unit.compressor_w(duty, leaving, c("outdoor_c")), "its compressor and condenser fan")

    surplus = own.let(
        "surplus_w", at_least(chilled - c("sensible_at_heating_w"), 0.0), "heat to hold the heating set point"
    )
    to_neutral = at_least(flow * air.CP_MOIST_AIR * (c("heating_setpoint_c") - leaving), 0.0)
    free = own.let("reheat_w", pl.min_horizontal(surplus, to_neutral, duty + power), "from its condenser, to neutral")
    heating = own.let("heating_needed_w", surplus - free, "left to the site's heating")

    load = own.let("cooling_load_w", at_least(c("sensible_at_cooling_w") - chilled, 0.0), "left to the installed coil")
    runs = own.let(
        "runs", pl.min_horizontal(load / coil.sensible_w, pl.lit(1.0)), "part of the hour the installed coil runs"
    )
    cooling = own.let("cooling_w", runs * coil.sensible_w, "sensible cooling it delivers")
    humidity = own.let(
        "settled_humidity_ratio",
        SPACE.less(device).settled(runs * coil.at_near, runs * coil.slope, coil.near),
        "the limit, if both keep up",
    )
    # cold supply relieves the installed coil, which then dries less: where that leaves the space damper, the unit rests
    helps = own.let("helps", humidity < c(f"{temperature_only.NAME}.humidity_ratio"), "the unit runs")
    running = Outcome(
        space_c=installed.floating_c(-chilled - cooling),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=at_least(runs * (coil.at_near + coil.slope * (humidity - coil.near)), 0.0),
        compressor_w=installed.compressor_power(coil.power_w, runs),
        fans_w=installed.fan_power(runs),
        heating_w=heating,
        heating_electricity_w=installed.heating_electricity(heating),
        heating_fuel_w=installed.heating_fuel(heating),
        unmet_cooling_w=load - cooling,
        device_kg_s=device,
        device_heat_w=-chilled,
        dehumidifier_w=power + fan_w() * (1 - c("open")),
        reheat_w=free,
    )
    return temperature_only.unless(helps, running)


def _left_to_the_coil(flow: pl.Expr, entering_c: pl.Expr, leaving_c: pl.Expr) -> pl.Expr:
    return at_least(pl.col("sensible_at_cooling_w") - flow * air.CP_MOIST_AIR * (entering_c - leaving_c), 0.0)


class _Coil:
    """The installed coil on recirculated air: solved at the limit, or where the space ends up if the unit is short."""

    def __init__(self, own: Worksheet, short: pl.Expr) -> None:
        limit = pl.col("limit_humidity_ratio")
        self.near = own.let(
            "near_humidity_ratio", pl.when(short).then(temperature_only.damp_at_most()).otherwise(limit)
        )
        running = installed.coil_at(own.section("coil"), pl.col("cooling_setpoint_c"), self.near, pl.lit(0.0))
        self.sensible_w, self.power_w = running.sensible_w, running.state.power_w
        self.at_near, self.slope = running.moisture_kg_s, running.moisture_slope
        at_limit = at_least(self.at_near - self.slope * (self.near - limit), 0.0)
        self.lam = own.let("water_per_heat_kg_j", at_limit / self.sensible_w, "water per joule of cooling")


STRATEGY = Strategy(
    name=NAME,
    summary="a dedicated unit dries the ventilation air for the whole space",
    damp_hour=damp_hour,
    has_device=True,
    standing_w=lambda: fan_w() * pl.col("open"),
    unavailable=pl.when(pl.col("outdoor_air_l_s") <= 0).then(pl.lit("no mechanical outdoor air to treat")),
)
