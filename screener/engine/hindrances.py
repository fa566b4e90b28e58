"""Which strategies a site cannot have, as its row says or as follows from it."""

from collections.abc import Mapping

import polars as pl

from screener.contracts.needs import FUEL
from screener.strategies import REGISTRY
from screener.tables import hindrances

BY_ITS_ROW = "ruled out by its row"
NO_FUEL = "the site has no fuel: an offer that prices the service would bring it"
ON_FUEL = "fuel"  # of heating_source


def ruled_out(sites: pl.DataFrame, offered: pl.DataFrame) -> Mapping[str, pl.Expr]:
    """For each strategy why a site cannot have it, null where it can: `cannot_have`, and what burns fuel at sites that heat with
    electricity and burn none today, unless it is offered there.

    `sites`: site_id, cannot_have, heating_source, current_strategy; `offered`: site_id, strategy.
    """
    texts = sites["cannot_have"].drop_nulls().unique()
    read = {text: hindrances.read(text, REGISTRY) for text in texts}
    burning = [name for name, strategy in REGISTRY.items() if FUEL in strategy.needs]
    no_fuel = (pl.col("heating_source") != ON_FUEL) & ~pl.col("current_strategy").is_in(burning)
    found = {}
    for name, strategy in REGISTRY.items():
        reasons = {}
        for text, (named, lacking, _) in read.items():
            short = [need for need in lacking if need in strategy.needs]
            if name in named or short:
                reasons[text] = BY_ITS_ROW if name in named else f"{BY_ITS_ROW}: no {', no '.join(short)}"
        said = pl.col("cannot_have").replace_strict(reasons, default=None, return_dtype=pl.String)
        served = offered.filter(strategy=name)["site_id"]
        fuel = pl.when(no_fuel & ~pl.col("site_id").is_in(served.implode())).then(pl.lit(NO_FUEL))
        why = pl.coalesce(said, fuel) if name in burning else said
        found[name] = pl.when(pl.col("current_strategy") != name).then(why)
    return found
