"""A passive heat pipe wrapped around a cooling coil: what it takes from the entering air it gives back behind the coil.

Effectiveness is the temperature drop of the entering air over that between it and the air leaving the coil: 0.35-0.55 for
ordinary wrap-around pipes of two to four rows (common practice, no source). The pipe itself stays dry: it cools no further than
the dew point.
"""

from screener.formula import Number, Sheet, at_least, at_most
from screener.physics import cooling_coil
from screener.physics import psychrometrics as air
from screener.physics.cooling_coil import CoilState, Rating

EFFECTIVENESS = 0.45
FAN_W_L_S = 0.23  # 125 Pa through both halves at 55 % fan efficiency, common practice, no source


def heat_w(effectiveness: float, flow_kg_s: float, entering_c: float, coil_leaving_c: float) -> float:
    """Heat [W] a pipe passes around a coil that the air leaves at `coil_leaving_c`.

    For example, 0.45 x 1 kg/s x 1024.6 J/(kg K) x 14 K, by hand:

    >>> round(heat_w(0.45, 1.0, 26.0, 12.0))
    6455
    """
    return effectiveness * flow_kg_s * air.CP_MOIST_AIR * (entering_c - coil_leaving_c)


def run(
    sheet: Sheet,
    rating: Rating,
    effectiveness: Number,
    entering_c: Number,
    entering_humidity_ratio: Number,
    outdoor_c: Number,
    pressure_pa: Number,
) -> CoilState:
    """The coil at full run behind the pipe: of the air that passes both, so its sensible duty is that of the coil.

    How far the pipe cools the entering air depends on the air leaving the coil: solved on the tangents to the coil's laws
    at its rated point, where the leaving temperature is a straight line of the entering one. The coil is then worked out
    for the air so found, and the pipe gives back what it took, to the last joule.

    For example, the pipe takes 45 % of what is between 26.7 degC and the air leaving the coil:

    >>> from screener.worksheet import Worksheet
    >>> sheet = Worksheet()
    >>> cooling_coil.rate(sheet, 10_000.0, 3.2, 0.75, 0.5, 387.0, 101325.0)
    >>> coil, sheet = Rating.of(sheet.of_one()), Worksheet()
    >>> _ = run(sheet, coil, 0.45, 26.7, 0.0112, 35.0, 101325.0)
    >>> round(sheet.of_one()["precooled_c"], 1)
    19.6
    """
    t_in, w_in = entering_c, entering_humidity_ratio
    cp_in = air.CP_DRY_AIR + air.CP_VAPOUR * w_in
    at_zero = rating.tangent_c + rating.tangent_per_outdoor * outdoor_c
    at_zero = at_zero + rating.tangent_per_j_kg * air.LATENT_HEAT_0C * w_in
    at_zero = sheet.let("adp_at_zero_c", at_zero, "apparatus dew point on the tangent, entering air at 0 degC")
    response = 1 - rating.contact + rating.contact * rating.tangent_per_j_kg * cp_in
    precooled = ((1 - effectiveness) * t_in + effectiveness * rating.contact * at_zero) / (1 - effectiveness * response)
    wanted = sheet.let("wanted_c", precooled, "behind the first half of the pipe, were the air dry enough")
    saturated = sheet.let(
        "saturated_precooled", air.humidity_ratio(air.saturation_pressure_over_water(wanted), pressure_pa)
    )
    per_k = saturated * (1 + saturated / air.MASS_RATIO) * air.saturation_log_slope(wanted)
    behind = at_most(wanted + at_least(w_in - saturated, 0.0) / per_k, t_in)
    precooled = sheet.let("precooled_c", behind, "entering air behind the first half, no colder than its dew point")
    sheet.let("passed_w", rating.supply_kg_s * cp_in * (t_in - precooled), "heat it passes around the coil")
    return cooling_coil.run(sheet, rating, precooled, w_in, outdoor_c, pressure_pa, near_fog=True)
