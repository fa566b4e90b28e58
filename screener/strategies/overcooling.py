"""Overcooling, whatever puts the heat back: run the coil until enough water has fallen out.

The space drifts down from the cooling set point towards the heating set point as the coil runs on; below it the surplus
cooling has to be put back. The coil is solved at the temperature the space drifts to. Shared by all strategies that
run the installed coil for the moisture. The temperature it drifts to and the run of the coil depend on each other: a
straight line through two solutions of the coil settles both.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields

from screener.contracts.hour import COIL, PART_LOAD, SPACE
from screener.formula import Number, Truth, at_least, at_most, between, col, larger, smaller, sqrt, when
from screener.physics import cooling_coil
from screener.physics import psychrometrics as air
from screener.physics.cooling_coil import CoilState, Rating
from screener.strategies import installed
from screener.strategies.installed import RunningCoil
from screener.strategies.resting import RESTING
from screener.strategies.strategy import NOTHING, Outcome
from screener.worksheet import Worksheet

REHEAT_CONDENSING_C = 38.0  # about 12 K above the air leaving the reheat coil, common practice, no source


@dataclass(frozen=True)
class Overcooler:
    """What runs for the moisture: the coil at a space temperature and humidity, and the names of its steps.

    `coil_meets` names the temperature of the air at the coil itself.

    `added_w` is heat it adds to the space while it acts, beside what it cools; with `reheats` false it stops where the
    space would fall below the heating set point.
    """

    section: str
    at_limit: str
    coil_at: Callable[[Worksheet, Number, Number], RunningCoil]
    rating: Rating = COIL
    coil_meets: str = "entering_c"
    added_w: Number = NOTHING
    reheats: bool = True


INSTALLED = Overcooler("overcooling", "coil_at_limit", installed.coil_at)


@dataclass(frozen=True)
class Overcooling:
    """The hour before anyone has said where the reheat comes from; `outcome` has none of its energy yet.

    `helps` is false where running on would leave the space damper than temperature control does, so it is not done. Where what
    runs for the heat takes more water than has to go, it acts for a `share` of the hour, and temperature control for the rest.
    """

    coil: CoilState
    run_fraction: Number
    reheat_w: Number
    outcome: Outcome
    helps: Truth
    share: Number

    def mixed(self, acting: Number, resting: Number) -> Number:
        """Of the hour, what it does while it acts and what temperature control does in the rest of it."""
        return _mixed(self.share, acting, resting)


def overcool(sheet: Worksheet, overcooler: Overcooler = INSTALLED) -> Overcooling:
    """Run the coil for the moisture. Where it is too small, the humidity rises until the coil keeps up."""
    own = sheet.section(overcooler.section)
    limit, needed = col("limit_humidity_ratio"), col("moisture_at_limit_kg_s")
    gain, at_heating = (_with(overcooler.added_w, col(f"sensible_at_{state}_w")) for state in ("cooling", "heating"))
    at_limit = overcooler.coil_at(sheet.section(overcooler.at_limit), col("cooling_setpoint_c"), limit)
    part = at_most(needed / at_least(at_limit.moisture_kg_s, installed.TINY_KG_S), 1.0)
    part = own.let("part_of_full_run", part, "of the water of a full hour at the limit")
    would_run = own.let("would_run", at_most(PART_LOAD.run_fraction_for_water(part), 1.0))
    first = _with(overcooler.added_w, -at_limit.cooling_w(would_run, part))
    first = own.let("first_drift_c", installed.floating_c(first), "with the coil as it is there")
    most = 1.0 if overcooler.reheats else _most_water(at_limit, at_heating)
    beyond = SPACE.settled(most * at_limit.moisture_kg_s, most * at_limit.moisture_slope, limit)
    near = own.let(
        "near_humidity_ratio",
        at_least(at_most(beyond, RESTING.held_humidity_ratio), limit),
        "where to solve the coil: at the limit, or on its tangent there where it cannot be held",
    )
    probe = overcooler.coil_at(own.section("probe"), first, near)
    drift = _settled_drift(own, part, gain, at_limit, probe, first, near)
    drift = own.let("drift_c", drift, "where the space drifts to while it runs")
    for name in () if overcooler.reheats else ("nearer", "nearest"):  # short in many hours: where each tangent leads
        most = _most_water(probe, at_heating)
        beyond = SPACE.settled(most * probe.moisture_kg_s, most * probe.moisture_slope, near)
        nearer = at_least(at_most(beyond, RESTING.held_humidity_ratio), limit)
        near = own.let(f"{name}_humidity_ratio", nearer, "the same, with the coil as it is there")
        probe = overcooler.coil_at(own.section(name), drift, near)
    coil = overcooler.coil_at(own.section("coil"), drift, near)
    air_c, air_w = (
        col(f"{overcooler.section}.coil.{name}") for name in (overcooler.coil_meets, "entering_humidity_ratio")
    )
    fog = f"{overcooler.section}.coil.fog_kg_kg"  # of coils that may leave air above saturation
    installed.show_coil(sheet, coil.state, overcooler.rating, air_c, air_w, col(fog) if fog in sheet.names() else 0.0)
    load = col("cooling_load_w") if overcooler.added_w is NOTHING else at_least(gain, 0.0)
    for_heat = when(drift >= col("cooling_setpoint_c")).then(coil.run_fraction_for(load)).otherwise(0.0)
    for_water = at_most(PART_LOAD.run_fraction_for_water(at_most(needed / _able(coil, near), 1.0)), 1.0)
    run_fraction = larger(for_water, for_heat)
    if not overcooler.reheats:
        run_fraction = own.let("run_fraction_wanted", run_fraction, "for moisture or for heat")
        allowed = at_least(at_heating, 0.0)
        cold = coil.cooling_w(run_fraction, PART_LOAD.latent_fraction(run_fraction)) > allowed
        run_fraction = when(cold).then(coil.run_fraction_for(allowed)).otherwise(run_fraction)
    run_fraction = own.let("run_fraction", run_fraction, "part of the hour the coil runs, for moisture or for heat")
    latent_fraction = own.let(
        "latent_fraction",
        PART_LOAD.latent_fraction(run_fraction),
        "its water in full-run hours, less what re-evaporates",
    )
    removal = own.let("removal_kg_s", latent_fraction * coil.moisture_kg_s, "water the coil takes there")
    slope = own.let("removal_slope", latent_fraction * coil.moisture_slope, "with the humidity of the space")
    cooling, added = coil.cooling_w(run_fraction, latent_fraction), overcooler.added_w
    share: Number = 1.0
    compressor, fans = installed.compressor_power(coil.state.power_w, run_fraction), installed.fan_power(run_fraction)
    if overcooler is not INSTALLED:
        at_rest = RESTING.removal_kg_s + RESTING.removal_slope * (near - RESTING.first_humidity_ratio)
        at_rest = own.let("rest_removal_kg_s", at_least(at_rest, 0.0), "water temperature control alone takes there")
        spare = removal - slope * (near - limit) - needed
        part = 1 - spare / at_least(removal - at_rest, installed.TINY_KG_S)
        share = own.let("share_of_hour", between(part, 0.0, 1.0), "that it acts, where it takes more than has to go")
        removal = own.let("mixed_removal_kg_s", _mixed(share, removal, at_rest), "of the hour")
        slope = own.let("mixed_slope", _mixed(share, slope, RESTING.removal_slope))
        cooling, added = _mixed(share, cooling, RESTING.cooling_w), added if added is NOTHING else share * added
        compressor = _mixed(share, compressor, RESTING.outcome["compressor_w"])
        fans = _mixed(share, fans, RESTING.outcome["fans_w"])
    humidity, removes, condenses = installed.settle(own, SPACE, removal, slope, near)
    cooling = own.let("cooling_w", cooling, "sensible cooling delivered")
    heating = RESTING.heating_needed_w
    if overcooler.added_w is not NOTHING:
        heating = own.let("heating_needed_w", at_least(-at_heating, 0.0), "below the heating set point")
    reheat = NOTHING
    if overcooler.reheats:
        reheat = own.let(
            "reheat_needed_w",
            at_least(cooling - at_heating, 0.0) - heating,
            "heat to hold the heating set point, beyond what the space needs without any cooling",
        )
    # cooler air can dry less: where running on would leave the space damper, it is not done
    helps = RESTING.drier(humidity)
    if overcooler.reheats:
        helps = helps & (col("outdoor_humidity_ratio") >= col("reheat_lockout_humidity_ratio"))
    helps = own.let("helps", helps, "the coil runs for moisture, and reheat is not locked out")
    running = Outcome(
        space_c=own.let("settled_c", installed.floating_c(_with(added, -cooling)), "between the set points"),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=removes,
        condenses_kg_s=condenses,
        compressor_w=own.let("unit_w", compressor, "compressor, condenser fan"),
        fans_w=own.let("supply_fan_w", fans, "supply fan"),
        heating_w=heating,
        heating_electricity_w=own.let("heating_electric_w", installed.heating_electricity(heating)),
        heating_fuel_w=own.let("heating_by_fuel_w", installed.heating_fuel(heating)),
        unmet_cooling_w=own.let("unmet_w", at_least(_with(added, col("sensible_at_cooling_w")) - cooling, 0.0)),
        reheat_w=reheat,
        device_heat_w=added,
    )
    resting = RESTING.unless(helps, running)
    outcome = Outcome(**{f.name: _named(own, f.name, getattr(resting, f.name)) for f in fields(Outcome)})
    run_fraction = own.let(
        "run_fraction_for_moisture", when(helps).then(run_fraction).otherwise(0.0), "part of the hour, where it helps"
    )
    return Overcooling(coil.state, run_fraction, outcome.reheat_w, outcome, helps, share)


def condenser_reheat(section: Worksheet, cooled: Overcooling) -> tuple[Number, Number]:
    """Compressor power [W] with the unit's own condenser reheating, and the reheat [W] it leaves to others.

    The heat is free up to what the unit rejects. To be of use the condenser must stay warm: while it reheats, the
    condensing temperature is held at REHEAT_CONDENSING_C or above, and the compressor pays for that in cool weather.
    """
    coil, run_fraction, reheat = cooled.coil, cooled.run_fraction, cooled.reheat_w
    held = cooling_coil.carnot_cop(col("carnot_fraction"), coil.adp_c, col("outdoor_c"), coil.load, REHEAT_CONDENSING_C)
    power = section.let("warm_condenser_w", coil.total_w / held, "compressor at full run with the condenser kept warm")
    rejected = section.let(
        "rejected_w", run_fraction * (coil.total_w + power), "heat of the space and of the compressor"
    )
    from_unit = section.let("from_condenser_w", smaller(reheat, rejected), "reheat that costs nothing more")
    short = section.let("short_w", reheat - from_unit, "reheat left to others")
    warm = installed.compressor_power(power, run_fraction)
    # a balance that closes leaves a reheat of 1e-11 W or none, as its last bits fall: neither asks for a warm condenser
    return when(reheat > installed.TINY_W).then(warm).otherwise(cooled.outcome.compressor_w), short


def _mixed(share: Number, acting: Number, resting: Number) -> Number:
    return resting + share * (acting - resting)


def _with(added_w: Number, power_w: Number) -> Number:
    return power_w if added_w is NOTHING else power_w + added_w


def _most_water(coil: RunningCoil, at_heating: Number) -> Number:
    """Part of a full hour's water that may be taken without cooling more than this. Water that re-evaporates cools, so a unit
    that has just come on may cool more than one that runs on, which may then run on."""
    allowed = at_least(at_heating, 0.0)
    return (
        when(coil.sensible_w <= allowed).then(1.0).otherwise(PART_LOAD.latent_fraction(coil.run_fraction_for(allowed)))
    )


def _able(coil: RunningCoil, near: Number) -> Number:
    """Water the coil, solved near the limit, takes at the limit [kg/s]."""
    return at_least(
        coil.moisture_kg_s - coil.moisture_slope * (near - col("limit_humidity_ratio")), installed.TINY_KG_S
    )


def _settled_drift(
    own: Worksheet, part: Number, gain: Number, warm: RunningCoil, cold: RunningCoil, first: Number, near: Number
) -> Number:
    """Where the space settles, u kelvin below the cooling set point, while the coil runs for all the water [degC].

    Water m and sensible duty s of the coil at full run are straight lines of u through both states. With the ruling line
    of water kept against run fraction, X = (needed / m - b) / a, its cooling X (s + h m) - h needed meets the gain S + K u
    where (needed - b m) (s + h m) = a m (S + K u + h needed): one root u is the wanted one.
    """
    needed, k, h = col("moisture_at_limit_kg_s"), col("conductance_w_k"), air.EVAPORATION_J_KG
    start = col("cooling_setpoint_c")
    span = at_least(start - first, 1e-6)
    m, m_u = warm.moisture_kg_s, at_least((_able(cold, near) - warm.moisture_kg_s) / span, 0.0)
    m_u = own.let("water_per_k", m_u, "water at full run, per kelvin of drift")
    all_heat = warm.sensible_w + h * m
    all_u = own.let("heat_per_k", (cold.sensible_w - warm.sensible_w) / span + h * m_u, "all heat, likewise")
    wanted = gain + h * needed

    def settled(sheet: Worksheet, part: Number) -> Number:
        """With the line that rules where this part of a full hour's water is taken."""
        slope, offset = PART_LOAD.chord_at(part)
        a = sheet.let("latent_slope", slope, "of water kept against run fraction")
        b = sheet.let("latent_offset", offset)
        square = a * k * m_u + b * m_u * all_u
        line = sheet.let("drift_line", a * (m * k + m_u * wanted) + b * m_u * all_heat - (needed - b * m) * all_u)
        rest = sheet.let("drift_rest", a * m * wanted - (needed - b * m) * all_heat)
        root = sqrt(at_least(line * line - 4 * square * rest, 0.0))
        return installed.within_set_points(start + 2 * rest / at_least(line + root, 1e-12))

    # a plant in stages may find itself on another line at the drift so found: once more, with the line that rules there
    drift = own.let("drift_first_c", settled(own.section("first_line"), part), "with the line that rules at the limit")
    able = at_least(m + m_u * (start - drift), installed.TINY_KG_S)
    there = own.let("part_there", at_most(needed / able, 1.0), "of the water of a full hour, there")
    return settled(own.section("second_line"), there)


def _named(own: Worksheet, name: str, expr: Number) -> Number:
    return expr if expr is NOTHING else own.let(f"outcome.{name}", expr)
