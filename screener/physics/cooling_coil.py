"""The direct-expansion cooling coil: apparatus dew point and bypass factor, and a compressor at a fraction of Carnot.

The coil is described by its published rating alone. Air that meets the coil leaves it saturated at the apparatus dew point,
where its sensible over its total heat is the rated ratio; the share of air that keeps its entering state is the bypass factor,
which stays with the coil while the apparatus dew point moves with load and weather (the bypass-factor method of
air-conditioning textbooks, from memory). Two laws meet at that point, per kilogram of supply air:

    coil         q = (1 - b) (h_in - h_sat(T_adp))
    compressor   q = q_rated (1 + 0.025 (T_adp - T_adp,rated) - 0.006 (T_out - 35))

The slopes per kelvin are those of ordinary scroll and reciprocating units (common practice, no source). Power is a
constant fraction of Carnot between evaporating and condensing temperature; the fraction is set by the rated efficiency.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

from screener.formula import Number, Sheet, at_least, at_most, between, col, sqrt, when
from screener.physics import psychrometrics as air

RATED_INDOOR_C = 26.7  # AHRI 210/240 and 340/360: 80 F dry-bulb
RATED_INDOOR_WET_BULB_C = 19.4  # 67 F
RATED_OUTDOOR_C = 35.0  # 95 F
CAPACITY_PER_ADP_K = 0.025  # [1/K] common practice, no source
CAPACITY_PER_OUTDOOR_K = 0.006  # [1/K] common practice, no source
EVAPORATOR_APPROACH_K = 4.0  # apparatus dew point above evaporating temperature at rated load, practice
CONDENSER_APPROACH_K = 10.0  # condensing above outdoor temperature at rated load, practice
CONDENSING_FLOOR_C = 32.0  # head-pressure control of air-cooled units, practice
COLDEST_ADP_C = 1.0  # frost protection: a comfort coil is kept above freezing, practice
RATING_NEWTON_STEPS = 8
SERIES_SHORT = 0.9995  # what the series says of air that leaves lies within 0.05 % of saturation: never above it


@dataclass(frozen=True)
class Rating:
    """A coil's rating, one value per site. Duties are gross: what the air loses at the coil, fan heat included.

    Both laws are divided by the contact factor 1 - b, so that h_sat(T_adp) = h_in - compressor(T_adp, T_out) with
    compressor = law_j_kg + law_per_adp T_adp - law_per_outdoor T_out. Its tangent at the rated point gives
    T_adp = tangent_c + tangent_per_j_kg h_in + tangent_per_outdoor T_out.
    """

    rated_adp_c: Number
    contact: Number
    supply_kg_s: Number
    duty_j_kg: Number
    carnot_fraction: Number
    law_j_kg: Number
    law_per_adp: Number
    law_per_outdoor: Number
    tangent_c: Number
    tangent_per_j_kg: Number
    tangent_per_outdoor: Number
    rated_saturated: Number
    rated_log_slope: Number
    rated_j_kg: Number  # h_sat + law_per_adp T at the rated apparatus dew point, its slope and its curvature
    rated_j_kg_k: Number
    rated_j_kg_k2: Number

    @classmethod
    def of(cls, row: Mapping[str, Number]) -> "Rating":
        """The rating whose figures stand in a row under the names of its fields.

        >>> from dataclasses import fields
        >>> Rating.of({field.name: 1.0 for field in fields(Rating)}).contact
        1.0
        """
        return cls(**{field.name: row[field.name] for field in fields(cls)})


@dataclass(frozen=True)
class CoilState:
    """The coil running without pause at one entering state."""

    adp_c: Number
    sensible_w: Number
    moisture_kg_s: Number
    moisture_slope: Number  # [kg/s per kg/kg] of entering humidity
    total_w: Number
    load: Number  # duty over rated duty
    power_w: Number  # compressor and condenser fan


def rate(
    sheet: Sheet,
    net_capacity_w: Number,
    cop: Number,
    sensible_heat_ratio: Number,
    supply_m3_s: Number,
    fan_w: Number,
    pressure_pa: Number,
) -> None:
    """Turn a published rating into the columns of `Rating` (site table).

    `cop` is net capacity over all electricity, fans included, as AHRI 210/240 and 340/360 rate a unit. The rating point
    is at sea level; on the mountain the same volume of air weighs less, so the coil runs colder there.

    For example, 10 kW at 26.7/19.4 degC with 0.5 m3/s: the line through both states meets saturation at 13 degC:

    >>> from screener.worksheet import Worksheet
    >>> sheet = Worksheet()
    >>> rate(sheet, 10_000.0, 3.2, 0.75, 0.5, 387.0, 101325.0)
    >>> round(sheet.of_one()["rated_adp_c"], 1)
    13.0
    """
    standard = air.STANDARD_PRESSURE_PA
    t_in = RATED_INDOOR_C
    entering = air.humidity_ratio_from_wet_bulb(t_in, RATED_INDOOR_WET_BULB_C, standard)
    w_in = sheet.let("rating_entering_humidity_ratio", entering, "rating point 26.7/19.4 degC wet-bulb")
    flow = sheet.let("rating_flow_kg_s", supply_m3_s * air.dry_air_density(t_in, w_in, standard), "at sea level")
    gross = sheet.let("rated_duty_w", net_capacity_w + fan_w, "net rating plus the fan heat the coil also takes")
    h_in = sheet.let("rating_entering_j_kg", air.enthalpy(t_in, w_in))
    ratio = (sensible_heat_ratio * net_capacity_w + fan_w) / gross
    ratio = sheet.let("rating_gross_ratio", ratio, "sensible over total, the fan's heat in both")
    adp: Number = RATED_INDOOR_WET_BULB_C  # from above, where the difference is convex, Newton's steps fall to the root
    for step in range(RATING_NEWTON_STEPS):
        w_sat = sheet.let(f"rating_saturated_{step}", _saturated(adp, standard))
        slope = _saturated_slope(adp, w_sat)
        cp = air.CP_DRY_AIR + air.CP_VAPOUR * w_sat
        error = cp * (t_in - adp) - ratio * (h_in - air.enthalpy(adp, w_sat))
        rise = ratio * _enthalpy_slope(adp, w_sat, slope) + air.CP_VAPOUR * slope * (t_in - adp) - cp
        adp = sheet.let(f"rated_adp_{step}_c", between(adp - error / rise, COLDEST_ADP_C, RATED_INDOOR_C))
    adp = sheet.let("rated_adp_c", adp, "where saturated air has taken heat and water in the rated ratio")
    h_adp = air.enthalpy(adp, _saturated(adp, standard))
    bypass = between(1 - gross / flow / (h_in - h_adp), 0.0, 0.9)
    bypass = sheet.let("bypass", bypass, "air that passes untouched")
    lift_k = CONDENSER_APPROACH_K + RATED_OUTDOOR_C - (adp - EVAPORATOR_APPROACH_K)
    carnot = (adp - EVAPORATOR_APPROACH_K + air.ZERO_C_K) / lift_k
    compressor_w = sheet.let("rated_compressor_w", net_capacity_w / cop - fan_w, "rated electricity less the fan's")
    sheet.let("carnot_fraction", gross / compressor_w / carnot, "rated efficiency over Carnot's")
    supply = sheet.let("supply_kg_s", supply_m3_s * air.dry_air_density(t_in, w_in, pressure_pa), "at the site")
    contact = sheet.let("contact", 1 - bypass, "air that meets the coil")
    duty = sheet.let("duty_j_kg", gross / supply, "rated duty per kilogram of supply air")
    _laws(sheet, adp, contact, duty, pressure_pa)


def least_ratio(fan_share: Number) -> Number:
    """The lowest sensible heat ratio that a coil can be rated with: no saturated air above COLDEST_ADP_C has a lower one.

    `fan_share` is the fan's heat over the net capacity. For example, 0.773 W per L/s at 50 L/s per kW:

    >>> round(least_ratio(0.0387), 3)
    0.576
    """
    standard = air.STANDARD_PRESSURE_PA
    entering = air.humidity_ratio_from_wet_bulb(RATED_INDOOR_C, RATED_INDOOR_WET_BULB_C, standard)
    w_sat = _saturated(COLDEST_ADP_C, standard)
    sensible = (air.CP_DRY_AIR + air.CP_VAPOUR * w_sat) * (RATED_INDOOR_C - COLDEST_ADP_C)
    gross = sensible / (air.enthalpy(RATED_INDOOR_C, entering) - air.enthalpy(COLDEST_ADP_C, w_sat))
    return gross * (1 + fan_share) - fan_share


def returned(sheet: Sheet, cop: Number, sensible_heat_ratio: Number, l_s_kw: Number, fan_w_l_s: Number) -> None:
    """What a rating gives back when its coil is run at the rating point: `returned_ratio`, `returned_capacity` over the rated
    one, `bypass` and `carnot_fraction`.

    `l_s_kw` is supply air per net capacity. A coil that would need air colder than saturation keeps no bypass and falls
    short of both:

    >>> from screener.worksheet import Worksheet
    >>> sheet = Worksheet()
    >>> returned(sheet, 3.2, 0.85, 50.0, 0.773)
    >>> round(sheet.of_one()["returned_ratio"], 2), round(sheet.of_one()["returned_capacity"], 2)
    (0.77, 0.97)
    """
    standard, fan = air.STANDARD_PRESSURE_PA, fan_w_l_s * l_s_kw
    rate(sheet, 1000.0, cop, sensible_heat_ratio, l_s_kw / 1000, fan, standard)
    rating = Rating.of({field.name: col(field.name) for field in fields(Rating)})
    at = run(sheet, rating, RATED_INDOOR_C, col("rating_entering_humidity_ratio"), RATED_OUTDOOR_C, standard)
    net = at.total_w - fan
    sheet.let("returned_ratio", (at.sensible_w - fan) / net, "sensible heat ratio at the rating point")
    sheet.let("returned_capacity", net / 1000.0, "capacity there over the rated one")


def at_flow(sheet: Sheet, rating: Rating, flow_share: float, pressure_pa: Number) -> None:
    """The same coil at a share of its rated air flow, as the columns of another `Rating` (site table).

    The compressor's law stays, in watts. Air that stays longer on the coil meets more of it: with an unchanged surface
    the bypass factor is raised to the power of one over the flow share (textbooks, from memory).

    For example, less air meets the coil longer: a larger share of it:

    >>> from screener.worksheet import Worksheet
    >>> sheet = Worksheet()
    >>> rate(sheet, 10_000.0, 3.2, 0.75, 0.5, 387.0, 101325.0)
    >>> coil, slow = Rating.of(sheet.of_one()), Worksheet()
    >>> at_flow(slow, coil, 0.7, 101325.0)
    >>> round(slow.of_one()["contact"] - coil.contact, 2)
    0.02
    """
    adp = sheet.let("rated_adp_c", rating.rated_adp_c)
    contact = sheet.let("contact", 1 - (1 - rating.contact) ** (1 / flow_share), "air that meets the coil")
    sheet.let("supply_kg_s", rating.supply_kg_s * flow_share, "at the site")
    sheet.let("carnot_fraction", rating.carnot_fraction)
    duty = sheet.let("duty_j_kg", rating.duty_j_kg / flow_share, "rated duty per kilogram of supply air")
    _laws(sheet, adp, contact, duty, pressure_pa)


def _laws(sheet: Sheet, adp: Number, contact: Number, duty: Number, pressure_pa: Number) -> None:
    """Both laws and their tangent and parabola at the rated point."""
    full = duty / contact
    in_weather = 1 + CAPACITY_PER_OUTDOOR_K * RATED_OUTDOOR_C
    law = sheet.let("law_j_kg", full * (in_weather - CAPACITY_PER_ADP_K * adp), "compressor duty over contact factor")
    per_adp = sheet.let("law_per_adp", full * CAPACITY_PER_ADP_K, "and its change with apparatus dew point")
    per_outdoor = sheet.let("law_per_outdoor", full * CAPACITY_PER_OUTDOOR_K, "and with outdoor temperature")
    saturated = sheet.let("rated_saturated", _saturated(adp, pressure_pa), "saturated at the rated apparatus dew point")
    sheet.let("rated_log_slope", air.saturation_log_slope(adp), "slope of ln of saturation pressure there")
    rise = sheet.let("rated_enthalpy_slope", _enthalpy_slope(adp, saturated, _saturated_slope(adp, saturated)))
    log_slope = air.saturation_log_slope(adp)
    moist = saturated * (1 + saturated / air.MASS_RATIO) * log_slope
    curve = moist * (log_slope * (1 + 2 * saturated / air.MASS_RATIO) - 2 / (adp + air.MAGNUS_C))
    sheet.let("rated_j_kg", air.enthalpy(adp, saturated) + per_adp * adp, "both laws at the rated apparatus dew point")
    sheet.let("rated_j_kg_k", rise + per_adp, "their slope")
    curvature = curve * (air.LATENT_HEAT_0C + air.CP_VAPOUR * adp) + 2 * air.CP_VAPOUR * moist
    sheet.let("rated_j_kg_k2", curvature, "and curvature")
    inverse = sheet.let("tangent_per_j_kg", 1 / (rise + per_adp), "tangent to both laws at the rated point")
    sheet.let("tangent_per_outdoor", inverse * per_outdoor)
    sheet.let("tangent_c", inverse * (rise * adp - air.enthalpy(adp, saturated) - law))


def rough(
    sheet: Sheet, rating: Rating, entering_c: Number, entering_humidity_ratio: Number, outdoor_c: Number
) -> tuple[Number, Number, Number]:
    """Sensible duty [W], water taken [kg/s] and its slope, from the tangents at the rated point: no exponentials.

    The water goes on below zero where the coil would be dry. Good for a first guess of the humidity only.

    >>> from screener.worksheet import Worksheet
    >>> sheet = Worksheet()
    >>> rate(sheet, 10_000.0, 3.2, 0.75, 0.5, 387.0, 101325.0)
    >>> coil, sheet = Rating.of(sheet.of_one()), Worksheet()
    >>> _ = rough(sheet, coil, 26.7, 0.0112, 35.0)
    >>> round(sheet.of_one()["sensible_w"])
    7862
    """
    t_in, w_in = entering_c, entering_humidity_ratio
    h_in = air.enthalpy(t_in, w_in)
    tangent = rating.tangent_c + rating.tangent_per_j_kg * h_in + rating.tangent_per_outdoor * outdoor_c
    adp = sheet.let("adp_c", tangent, "on the tangent at the rated point")
    x = sheet.let("log_saturation", rating.rated_log_slope * (adp - rating.rated_adp_c))
    reach = sheet.let("reach_kg_s", rating.supply_kg_s * rating.contact, "air that meets the coil")
    saturated = rating.rated_saturated * (1 + x * (1 + x / 2))
    response = rating.tangent_per_j_kg * (air.LATENT_HEAT_0C + air.CP_VAPOUR * t_in)
    slope = reach * (1 - rating.rated_saturated * rating.rated_log_slope * (1 + x) * response)
    return (
        sheet.let("sensible_w", reach * (air.CP_DRY_AIR + air.CP_VAPOUR * w_in) * (t_in - adp)),
        sheet.let("moisture_kg_s", reach * (w_in - saturated)),
        sheet.let("moisture_slope", slope),
    )


def run(
    sheet: Sheet,
    rating: Rating,
    entering_c: Number,
    entering_humidity_ratio: Number,
    outdoor_c: Number,
    pressure_pa: Number,
    near_fog: bool = False,
) -> CoilState:
    """The coil at full run with this air entering and this weather outside.

    Air that comes almost saturated, or meets little that passes untouched, would leave above saturation, since the line between
    two states near the curve lies above it: with `near_fog`, for coils behind a heat pipe and slow ones, that water falls out on
    the coil too, at the same enthalpy (one Newton step, saturation from the apparatus dew point by a series of second order).

    The parabola at the rated point gives a first apparatus dew point, one Newton step the next, where saturation follows
    from the first by a series of second order: within 0.01 K and 0.1 % of duty of a converged solution. A coil whose
    apparatus dew point lies above the entering dew point is dry; the same two laws then hold with the entering humidity
    unchanged.

    For example, at its rating point the coil of 10 kW net, with its fan's heat, takes 10.4 kW:

    >>> from screener.worksheet import Worksheet
    >>> sheet = Worksheet()
    >>> rate(sheet, 10_000.0, 3.2, 0.75, 0.5, 387.0, 101325.0)
    >>> coil, sheet = Rating.of(sheet.of_one()), Worksheet()
    >>> _ = run(sheet, coil, 26.7, 0.01119, 35.0, 101325.0)
    >>> round(sheet.of_one()["total_w"] / 1000, 1)
    10.4
    """
    t_in, w_in = entering_c, entering_humidity_ratio
    vapour_heat = sheet.let("vapour_j_kg", air.LATENT_HEAT_0C + air.CP_VAPOUR * t_in, "enthalpy of entering vapour")
    h_in = sheet.let("entering_j_kg", air.CP_DRY_AIR * t_in + w_in * vapour_heat, "enthalpy of the entering air")
    target = sheet.let(
        "surplus_j_kg", h_in - rating.law_j_kg + rating.law_per_outdoor * outdoor_c, "both laws but for the dew point"
    )
    beyond = sheet.let("beyond_rating_j_kg", target - rating.rated_j_kg)
    root = sqrt(at_least(rating.rated_j_kg_k**2 + 2 * rating.rated_j_kg_k2 * beyond, 0.0))
    parabola = rating.rated_adp_c + 2 * beyond / (rating.rated_j_kg_k + root)
    unfrozen = at_least(parabola, COLDEST_ADP_C)
    first = sheet.let("adp_guess_c", unfrozen, "on the parabola through the rated point")
    w_first = sheet.let("saturated_guess", _saturated(first, pressure_pa), "saturated there")
    log_slope = sheet.let("saturated_log_slope", (1 + w_first / air.MASS_RATIO) * air.saturation_log_slope(first))
    h_slope = _enthalpy_slope(first, w_first, w_first * log_slope) + rating.law_per_adp
    error = target - air.enthalpy(first, w_first) - rating.law_per_adp * first
    adp = sheet.let("wet_adp_c", at_least(first + error / h_slope, COLDEST_ADP_C), "coil duty equals compressor duty")
    x = log_slope * (adp - first)
    saturated = sheet.let("saturated_at_adp", w_first * (1 + x * (1 + x / 2)), "saturated at the apparatus dew point")
    dry = sheet.let("dry", saturated >= w_in, "no water falls out")
    w_surface = at_least(w_in - saturated, 0.0)
    cp_in = air.CP_DRY_AIR + air.CP_VAPOUR * w_in
    dry_adp = (target - w_in * air.LATENT_HEAT_0C) / (cp_in + rating.law_per_adp)
    surface = when(dry).then(at_least(dry_adp, COLDEST_ADP_C)).otherwise(adp)
    surface = sheet.let("adp_c", at_most(surface, t_in), "surface temperature of the coil, which never heats")
    taken: Number = sheet.let("moisture_kg_kg", rating.contact * w_surface, "water taken")
    cp = air.CP_DRY_AIR + air.CP_VAPOUR * (w_in - w_surface)
    sensible: Number = sheet.let("sensible_j_kg", rating.contact * cp * (t_in - surface), "sensible heat taken")
    total = sheet.let("total_j_kg", sensible + taken * vapour_heat, "all heat taken")
    if near_fog:
        taken, sensible = _less_fog(sheet, t_in, w_in, total, taken, sensible, saturated, log_slope, surface)
    load = sheet.let("load", total / rating.duty_j_kg, "duty over rated duty")
    power = total / carnot_cop(rating.carnot_fraction, surface, outdoor_c, load)
    slope = rating.contact * (1 - saturated * log_slope * vapour_heat / h_slope)
    m = rating.supply_kg_s
    return CoilState(
        adp_c=surface,
        sensible_w=sheet.let("sensible_w", m * sensible, "sensible duty at full run"),
        moisture_kg_s=sheet.let("moisture_kg_s", m * taken, "water taken at full run"),
        moisture_slope=sheet.let("moisture_slope", when(dry).then(0.0).otherwise(m * slope), "with entering humidity"),
        total_w=sheet.let("total_w", m * total, "duty at full run"),
        load=load,
        power_w=sheet.let("power_w", m * power, "compressor and condenser fan at full run"),
    )


def _less_fog(
    sheet: Sheet,
    t_in: Number,
    w_in: Number,
    total: Number,
    taken: Number,
    sensible: Number,
    saturated: Number,
    log_slope: Number,
    surface: Number,
) -> tuple[Number, Number]:
    """Water and sensible heat taken, where the air would leave above saturation that of fog too."""
    w_out = w_in - taken
    h_out = air.enthalpy(t_in, w_in) - total
    t_out = sheet.let("leaving_untouched_c", air.dry_bulb_from_enthalpy(h_out, w_out), "before any fog falls out")
    above = t_out - surface
    x = log_slope * above * (1 - above / (surface + air.MAGNUS_C))  # the slope falls with the square of T + MAGNUS_C
    held = SERIES_SHORT * saturated * (1 + x * (1 + x / 2))
    at_most_w = sheet.let("saturated_leaving", held, "what it can hold there")
    per_kg = (air.LATENT_HEAT_0C + air.CP_VAPOUR * t_out) / (air.CP_DRY_AIR + air.CP_VAPOUR * w_out)
    fog = at_least(w_out - at_most_w, 0.0) / (1 + at_most_w * log_slope * per_kg)
    fog = sheet.let("fog_kg_kg", fog, "that falls out on the coil, for it can hold no more")
    vapour_heat = air.LATENT_HEAT_0C + air.CP_VAPOUR * t_in
    more = sheet.let("moisture_and_fog_kg_kg", taken + fog, "water taken, fog too")
    return more, sheet.let("sensible_less_fog_j_kg", sensible - fog * vapour_heat, "sensible heat taken, fog's kept")


def carnot_cop(
    fraction: Number, adp_c: Number, outdoor_c: Number, load: Number, floor_c: float = CONDENSING_FLOOR_C
) -> Number:
    """Duty per unit of compressor power: a fraction of Carnot between the refrigerant's two temperatures.

    `load` is duty over rated duty: the approaches of evaporator and condenser shrink with it. The condensing
    temperature does not follow the weather below the floor that head-pressure control keeps.

    For example, 0.4 of (283.15 - 4) / (45 - 6) K:

    >>> round(carnot_cop(0.4, 10.0, 35.0, 1.0), 2)
    2.86
    """
    evaporating = adp_c - EVAPORATOR_APPROACH_K * load
    condensing = at_least(outdoor_c + CONDENSER_APPROACH_K * load, floor_c)
    return fraction * (evaporating + air.ZERO_C_K) / (condensing - evaporating)


def _saturated(temperature_c: Number, pressure_pa: Number) -> Number:
    return air.humidity_ratio(air.saturation_pressure_over_water(temperature_c), pressure_pa)


def _saturated_slope(temperature_c: Number, saturated: Number) -> Number:
    """d W_sat / dT [kg/kg/K]; with W = 0.622 p_ws/(p - p_ws), p/(p - p_ws) = 1 + W/0.622."""
    return saturated * (1 + saturated / air.MASS_RATIO) * air.saturation_log_slope(temperature_c)


def _enthalpy_slope(temperature_c: Number, saturated: Number, slope: Number) -> Number:
    vapour = air.LATENT_HEAT_0C + air.CP_VAPOUR * temperature_c
    return air.CP_DRY_AIR + air.CP_VAPOUR * saturated + slope * vapour
