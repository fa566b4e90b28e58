"""Ratings of equipment that no machine can have: more water per kilowatt-hour than Carnot's law allows."""

import polars as pl

from screener.formula import Number, first_given, of_columns
from screener.physics import dehumidifier, enthalpy_wheel
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.tables.checking import CheckedTable, row_faults

J_PER_KWH = 3.6e6
RULE = "beyond Carnot"
STATE = ("rating_dry_bulb_c", "rating_rh_pct")
WHEEL = ("sensible_effectiveness", "latent_effectiveness")
USUAL_WHEEL = (enthalpy_wheel.SENSIBLE_EFFECTIVENESS, enthalpy_wheel.LATENT_EFFECTIVENESS)


def impossible(table: CheckedTable) -> pl.DataFrame:
    """A fault for each row of a table of machines, equipment or offers, with more `litres_per_kwh` than Carnot's law allows.

    A standalone unit lifts the heat of its water from the dew point of the rating state to its temperature; an outdoor-air unit
    works between its refrigerant's temperatures at the rating states, beside its fans.
    """
    c = pl.col
    frame = table.told("litres_per_kwh").with_columns(table.values.select("strategy", *STATE, *WHEEL))
    usual = dict(zip(WHEEL, USUAL_WHEEL, strict=True))
    wheel = [c(name).fill_null(figure) for name, figure in usual.items()]
    most = (
        pl.when(c("strategy") == "standalone_dehumidifier")
        .then(of_columns(_standalone, *STATE))
        .when(c("strategy") == "outdoor_air_dehumidifier")
        .then(pl.lit(unit.seasonal_kg_kwh(1.0)))
        .when(c("strategy") == "outdoor_air_dehumidifier_with_recovery")
        .then(of_columns(_with_wheel, *wheel))
    )
    found = frame.with_columns(most=most).filter(c("litres_per_kwh") >= c("most"))
    message = pl.concat_str(
        pl.lit("beyond Carnot: between its temperatures a machine that loses nothing takes "),
        c("most").round(1).cast(pl.String),
        pl.lit(" L/kWh"),
        pl.lit("; give the rated water per kilowatt-hour (2 to 4 are usual), or leave it empty"),
    )
    name = pl.coalesce("litres_per_kwh:name", pl.lit("litres_per_kwh"))
    return row_faults(table.contract.name, found, name, RULE, c("litres_per_kwh:text"), message)


def _standalone(dry_bulb_c: Number, rh_pct: Number) -> Number:
    """Water per kWh of a reversible machine between the dew point and the temperature of the rating state [L/kWh]."""
    t = first_given(dry_bulb_c, dehumidifier.RATING_C)
    rh = first_given(rh_pct, dehumidifier.RATING_RH_PCT)
    dew_point = air.dew_point_guess(air.saturation_pressure_over_water(t) * rh / 100)
    return J_PER_KWH / air.EVAPORATION_J_KG * (dew_point + air.ZERO_C_K) / (t - dew_point)


def _with_wheel(sensible: Number, latent: Number) -> Number:
    return unit.seasonal_kg_kwh(1.0, sensible, latent, unit.FAN_W_L_S + enthalpy_wheel.FAN_W_L_S)
