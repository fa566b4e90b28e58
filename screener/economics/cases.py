"""What drier air spares a site's refrigerated display cases, in money."""

import polars as pl

from screener.exact import money

CASES = ("case_savings", "case_credit")


def with_cases(strategies: pl.DataFrame, counted: bool) -> pl.DataFrame:
    """`strategies` (a row per site_id and strategy) with CASES [currency/a].

    Needs is_current, without_equipment, refrigeration_saved_kwh (beside the reference), energy_cost and electricity_kwh.
    `case_savings`: what the cases take less of than today, at the mean energy price of today's strategy, without demand; null
    where that is not known. `case_credit` is the same where it is `counted` among what a change saves, else zero; what the cases
    take more counts against a change without equipment all the same.
    """
    today = {
        name: pl.col(name).filter("is_current").first().over("site_id")
        for name in ("refrigeration_saved_kwh", "energy_cost", "electricity_kwh")
    }
    price = pl.when(today["electricity_kwh"] > 0).then(today["energy_cost"] / today["electricity_kwh"])
    saved = money((pl.col("refrigeration_saved_kwh") - today["refrigeration_saved_kwh"]) * price)
    lost = pl.when("without_equipment").then(pl.min_horizontal(saved.fill_null(0.0), 0.0)).otherwise(0.0)
    credit = saved.fill_null(0.0) if counted else lost
    return strategies.drop(CASES, strict=False).with_columns(case_savings=saved, case_credit=credit)
