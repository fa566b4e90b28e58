"""Figures of a year of weather: design conditions and monthly figures, from hours.

Hours come as frames with `weather_id, month, hour, weight_h, outdoor_c, outdoor_humidity_ratio, pressure_pa, irradiance_w_m2`.
"""

import polars as pl

from screener.formula import of_columns, plain
from screener.physics import psychrometrics as air

COINCIDENT_K = (
    1.0  # hours up to so near to the design value count, the less the further: no band on whose edge hours lie
)
DESIGN_EXCEEDED = 0.004  # annual design conditions, ASHRAE Fundamentals 2017 ch. 14
HEATING_EXCEEDED = 0.996
DESIGN_COLUMNS = (
    "pressure_pa",
    "dry_bulb_04_c",
    "dry_bulb_04_humidity_ratio",
    "dew_point_04_c",
    "dew_point_04_humidity_ratio",
    "dew_point_04_dry_bulb_c",
    "heating_996_c",
)
DEW_POINT_OF_NOTE_C = 12.8  # 55 F, a usual limit in stores with refrigerated cases (practice)
INDOOR_C, INDOOR_RH = 23.9, 0.5  # 75 F, 50 %: the indoor state of the ventilation load index
# Harriman, Plager, Kosar, ASHRAE Journal, November 1997 (from memory): ton-hours a year per cfm of outdoor air; 4.5 lb/h of
# air per cfm, 1076 Btu/lb of vapour, 1.08 Btu/(h F cfm), 12 000 Btu per ton-hour
LATENT_TON_HOURS = 4.5 * 1076 / 12_000
SENSIBLE_TON_HOURS = 1.08 * 1.8 / 12_000


def design_conditions(hours: pl.DataFrame) -> pl.DataFrame:
    """Annual design conditions of equally weighted hours, one row per `weather_id`.

    `pressure_pa` is the annual mean; `dry_bulb_04_c` is exceeded 0.4 % of the hours, with the mean humidity ratio [kg/kg]
    of the hours near it, weighted from one at the design value to nothing COINCIDENT_K away;
    `dew_point_04_c` likewise with the mean dry-bulb; `heating_996_c` is exceeded 99.6 %.
    Definitions: ASHRAE Fundamentals 2017 ch. 14, here from one typical year instead of a long record.
    """
    exceeded = hours.with_columns(vapour_pa=of_columns(air.vapour_pressure, "outdoor_humidity_ratio", "pressure_pa"))
    limits = exceeded.group_by("weather_id", maintain_order=True).agg(
        pl.col("pressure_pa").mean(),
        dry_bulb_04_c=pl.col("outdoor_c").quantile(1 - DESIGN_EXCEEDED, "linear"),
        vapour_04_pa=pl.col("vapour_pa").quantile(1 - DESIGN_EXCEEDED, "linear"),  # ranks hours as the dew point does
        heating_996_c=pl.col("outdoor_c").quantile(1 - HEATING_EXCEEDED, "linear"),
    )
    humid = of_columns(air.humidity_ratio, "vapour_04_pa", "pressure_pa")
    limits = limits.with_columns(
        dew_point_04_humidity_ratio=humid, dew_point_04_c=air.dew_points(humid, pl.col("pressure_pa"))
    )
    near_hot = _nearness(pl.col("outdoor_c") - pl.col("dry_bulb_04_c"))
    per_kelvin = of_columns(air.saturation_log_slope, "dew_point_04_c")
    near_humid = _nearness((pl.col("vapour_pa") / pl.col("vapour_04_pa")).log() / per_kelvin)
    coincident = (
        exceeded.join(limits.drop("pressure_pa"), on="weather_id")
        .group_by("weather_id")
        .agg(
            dry_bulb_04_humidity_ratio=(pl.col("outdoor_humidity_ratio") * near_hot).sum() / near_hot.sum(),
            dew_point_04_dry_bulb_c=(pl.col("outdoor_c") * near_humid).sum() / near_humid.sum(),
        )
    )
    return limits.join(coincident, on="weather_id", maintain_order="left").select("weather_id", *DESIGN_COLUMNS)


def _nearness(kelvin: pl.Expr) -> pl.Expr:
    """Weight of an hour so far from the design value."""
    return (1 - kelvin.abs() / COINCIDENT_K).clip(0.0)


def ventilation_load(hours: pl.DataFrame, *by: str) -> pl.DataFrame:
    """Ventilation load index by `by`: `latent_ton_hours_per_cfm`, `sensible_ton_hours_per_cfm` and `moisture_index_kg`.

    Load of one cfm of outdoor air, all hours, brought to 23.9 degC and 50 % at sea level; the moisture index is the same
    water in kg per kg/h of outdoor air.
    """
    indoor = plain(air.humidity_ratio_from_relative_humidity(INDOOR_C, INDOOR_RH, air.STANDARD_PRESSURE_PA))
    wet = ((pl.col("outdoor_humidity_ratio") - indoor).clip(0) * pl.col("weight_h")).sum()
    hot = ((pl.col("outdoor_c") - INDOOR_C).clip(0) * pl.col("weight_h")).sum()
    return hours.group_by(*by, maintain_order=True).agg(
        latent_ton_hours_per_cfm=wet * LATENT_TON_HOURS,
        sensible_ton_hours_per_cfm=hot * SENSIBLE_TON_HOURS,
        moisture_index_kg=wet,
    )


def monthly_figures(hours: pl.DataFrame) -> pl.DataFrame:
    """Twelve months and the year (`month` "1".."12", "year") of one weather year.

    Dry-bulb mean, lowest, highest [degC]; humidity ratio [g/kg]; dew point of the mean humidity [degC]; hours above a dew
    point of 12.8 degC; ventilation load index [ton-hours per cfm]; irradiance, mean of all hours [W/m2]; pressure [Pa].
    """
    threshold = of_columns(air.humidity_ratio_from_dew_point, DEW_POINT_OF_NOTE_C, "pressure_pa")
    both = pl.concat(
        [
            hours.with_columns(period=pl.col("month").cast(pl.Int64)),
            hours.with_columns(period=pl.lit(13, dtype=pl.Int64)),
        ]
    ).with_columns(month_load=pl.col("weight_h") * (pl.col("outdoor_humidity_ratio") > threshold))

    def mean(column: str) -> pl.Expr:
        return (pl.col(column) * pl.col("weight_h")).sum() / pl.col("weight_h").sum()

    figures = both.group_by("period").agg(
        hours=pl.col("weight_h").sum(),
        dry_bulb_mean_c=mean("outdoor_c"),
        dry_bulb_min_c=pl.col("outdoor_c").min(),
        dry_bulb_max_c=pl.col("outdoor_c").max(),
        humidity_ratio_g_kg=mean("outdoor_humidity_ratio") * 1000,
        hours_above_12_8_c_dew_point=pl.col("month_load").sum(),
        irradiance_w_m2=mean("irradiance_w_m2"),
        pressure_pa=mean("pressure_pa"),
    )
    load = ventilation_load(both, "period")
    dew = air.dew_points(pl.col("humidity_ratio_g_kg") / 1000, pl.col("pressure_pa"))
    return (
        figures.join(load, on="period")
        .sort("period")
        .select(
            pl.when(pl.col("period") == 13)
            .then(pl.lit("year"))
            .otherwise(pl.col("period").cast(pl.String))
            .alias("month"),
            "hours",
            "dry_bulb_mean_c",
            "dry_bulb_min_c",
            "dry_bulb_max_c",
            "humidity_ratio_g_kg",
            dew.alias("dew_point_c"),
            "hours_above_12_8_c_dew_point",
            "latent_ton_hours_per_cfm",
            "sensible_ton_hours_per_cfm",
            "moisture_index_kg",
            "irradiance_w_m2",
            "pressure_pa",
        )
    )
