"""Ratings that no machine can have: more water or cooling per kilowatt-hour than Carnot's law allows, and sensible heat ratios
that no saturated air has."""

from collections.abc import Sequence

import polars as pl

from screener.errors import no_faults
from screener.formula import Number, col, first_given, of_columns
from screener.physics import cooling_coil, dehumidifier, enthalpy_wheel
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.tables.checking import CheckedTable, row_faults
from screener.worksheet import Worksheet

J_PER_KWH = 3.6e6
RULE = "beyond Carnot"
STATE = ("rating_dry_bulb_c", "rating_rh_pct")
WHEEL = ("sensible_effectiveness", "latent_effectiveness")
COIL = ("rated_sensible_heat_ratio", "supply_air_l_s_kw", "fan_power_w_l_s", "cooling_cop")
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


def coil_faults(table: CheckedTable, types: pl.DataFrame) -> pl.DataFrame:
    """A fault for each row of a table, sites or building types, that gives a figure of COIL with which no cooling coil can be:
    a sensible heat ratio lower than any at the rating point, or a compressor that would need less than Carnot's power.

    An empty cell counts as the figure of its building type in `types`.
    """
    name, c = table.contract.name, pl.col
    own = [figure for figure in COIL if figure in table.contract.columns]
    kind = "building_type" if name == "sites" else pl.coalesce("based_on", "building_type")
    of_type = types.select(kind="building_type", **{f"{figure}:type": c(figure) for figure in COIL})
    cells = table.told(*own).with_columns(table.values.select(kind=kind))
    given = cells.filter(pl.any_horizontal(c(f"{figure}:text").is_not_null() for figure in own))
    if given.is_empty():
        return no_faults()
    beside = given.join(of_type, on="kind", how="left", maintain_order="left")
    figures = [pl.coalesce(figure, f"{figure}:type") if figure in own else c(f"{figure}:type") for figure in COIL]
    sheet = Worksheet()
    sheet.let("least", cooling_coil.least_ratio(col("fan_power_w_l_s") * col("supply_air_l_s_kw") / 1000))
    cooling_coil.returned(sheet, col(COIL[3]), col(COIL[0]), col(COIL[1]), col(COIL[2]))
    worked = beside.with_columns(figure.alias(column) for figure, column in zip(figures, COIL, strict=True))
    worked = sheet.apply(worked.drop_nulls(COIL).lazy()).collect()
    low = worked.filter(c("rated_sensible_heat_ratio") < c("least"))
    in_words = pl.concat_str(
        pl.lit("at the rating point no saturated air takes heat and water in this ratio, so no coil does; at least "),
        ((c("least") * 100).ceil() / 100).cast(pl.String),
        pl.lit(" is possible and 0.68 to 0.8 are usual"),
    )
    beyond = worked.filter(~c("carnot_fraction").is_between(0, 1, closed="none"))
    of_power = (
        "beyond Carnot: less the supply fan, the rated efficiency leaves the compressor less power than a machine that "
        "loses nothing needs; give efficiency and fan power of one unit"
    )
    return pl.concat(
        [
            _coil_fault(
                name, low, [figure for figure in COIL[:3] if figure in own], "no apparatus dew point", in_words
            ),
            _coil_fault(name, beyond, [figure for figure in COIL[::-1] if figure in own], RULE, of_power),
        ]
    )


def _coil_fault(
    table: str, frame: pl.DataFrame, columns: Sequence[str], rule: str, message: str | pl.Expr
) -> pl.DataFrame:
    """Named by the first of the columns that the row gives."""
    if not columns:
        return no_faults()
    name = pl.coalesce(*(f"{column}:name" for column in columns))
    text = pl.coalesce(*(f"{column}:text" for column in columns))
    return row_faults(table, frame, name, rule, text, message)


def _standalone(dry_bulb_c: Number, rh_pct: Number) -> Number:
    """Water per kWh of a reversible machine between the dew point and the temperature of the rating state [L/kWh]."""
    t = first_given(dry_bulb_c, dehumidifier.RATING_C)
    rh = first_given(rh_pct, dehumidifier.RATING_RH_PCT)
    dew_point = air.dew_point_guess(air.saturation_pressure_over_water(t) * rh / 100)
    return J_PER_KWH / air.EVAPORATION_J_KG * (dew_point + air.ZERO_C_K) / (t - dew_point)


def _with_wheel(sensible: Number, latent: Number) -> Number:
    return unit.seasonal_kg_kwh(1.0, sensible, latent, unit.FAN_W_L_S + enthalpy_wheel.FAN_W_L_S)
