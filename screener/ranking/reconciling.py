"""Savings held against the bill: what would save more than a site buys is not believed."""

import polars as pl

NOTEWORTHY_SHARE = 0.15  # of the bill that dehumidification alone rarely is worth: common practice, no source


def reconciled(strategies: pl.DataFrame, sites: pl.DataFrame) -> pl.DataFrame:
    """`strategies` (results with `holds_limit` and economics) with `unreconciled` and `share_of_bill`.

    `sites`: site_id, annual_electricity_kwh. `share_of_bill` [1] is the electricity that changing to a strategy saves, over
    all that the site bought in a year; null where no bill is given. A site is unreconciled with all its strategies
    where a change that would be advised saves more than the whole bill: what is worked out of it is not that building.
    """
    bills = sites.select("site_id", bill=pl.col("annual_electricity_kwh").cast(pl.Float64))
    joined = strategies.drop("unreconciled", "share_of_bill", strict=False).join(
        bills, on="site_id", how="left", maintain_order="left"
    )
    share = pl.when(pl.col("bill") > 0).then(pl.col("electricity_saved_kwh") / pl.col("bill"))
    advised = pl.col("candidate") & ~pl.col("is_current") & pl.col("holds_limit") & (pl.col("net_savings") > 0)
    beyond = (advised & (pl.col("share_of_bill") > 1.0)).fill_null(False)
    return (
        joined.with_columns(share_of_bill=share)
        .with_columns(unreconciled=beyond.any().over("site_id"))
        .select(*[name for name in joined.columns if name != "bill"], "unreconciled", "share_of_bill")
    )
