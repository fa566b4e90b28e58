"""What a run found, gathered for its report: the tables as they are, and views of them for people.

Nothing here is a new result; sums over sites come from `groups` and the totals, and whatever needed the money or the
ranking again was worked out by those stages and is handed in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import polars as pl

from screener import text
from screener.assumptions.weights import LIMIT, blanks, completeness
from screener.contracts import Field, load
from screener.contracts.limits import LIMIT_COLUMNS, NOTEWORTHY_H
from screener.contracts.origins import ASSUMED, is_given
from screener.contracts.rejects import in_words
from screener.outputs import beside
from screener.ranking import own
from screener.report.palette import END_USES
from screener.report.words import figure_name

ASSUMPTIONS_SHOWN = 8
FIND_OUT_SHOWN = 12


@dataclass(frozen=True)
class Findings:
    """The tables of a run under the names of its folder, and `totals` of the ranking in one row.

    `shortlist`: how every candidate fared; `what_if`: totals under other prices; `summaries`: strategies in a line, in
    the order of the registry; `placeholders`: strategies whose investment is a shipped placeholder; `odds`: the tables of the
    run's odds by name, where it has some; `own_columns`: those of the owner; `where`: the conditions that its sites were
    narrowed by, as typed.
    """

    settings: Mapping[str, Any]
    ranking: pl.DataFrame
    results: pl.DataFrame
    sites: pl.DataFrame
    groups: pl.DataFrame
    rejects: pl.DataFrame
    totals: Mapping[str, Any]
    shortlist: pl.DataFrame
    what_if: pl.DataFrame
    summaries: Mapping[str, str]
    placeholders: Sequence[str]
    odds: Mapping[str, pl.DataFrame] | None = None
    run_date: str = ""
    own_columns: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=load("own_columns").polars_schema()))
    where: Sequence[str] = ()

    @cached_property
    def own_fields(self) -> Mapping[str, Field]:
        """The owner's own columns, by name."""
        return own.fields(self.own_columns)

    def with_more(self, ranked: pl.DataFrame) -> pl.DataFrame:
        """Rows of the ranking with the owner's own columns, and the odds of the run where it has some."""
        more = ranked.join(own.wide(self.own_columns, self.own_fields), on="site_id", how="left", maintain_order="left")
        if self.odds is None:
            return more
        likely = self.odds["odds"].select("site_id", "net_savings_p10")
        return more.join(likely, on="site_id", how="left", maintain_order="left")

    @property
    def sample(self) -> int | None:
        """How many sites the sample has, where there is one."""
        return self.sites.height if self.sites.height < self.ranking.height else None

    @property
    def currency(self) -> str:
        """What money is counted in."""
        return str(self.settings["currency"])

    @cached_property
    def ranked(self) -> str:
        """How many of the rows are ranked, and what became of the others."""
        if self.where:
            return f"{text.count(self.ranking.height, 'site')} of the run: those with {' and '.join(self.where)}"
        return in_words(self.ranking.height, self.rejects)

    @cached_property
    def paying(self) -> pl.DataFrame:
        """The sites worth changing, in order of rank."""
        return self.ranking.filter(pl.col("net_savings") > 0).sort("rank")

    @cached_property
    def others(self) -> pl.DataFrame:
        """The sites where no change pays, in order of rank."""
        return self.ranking.filter(pl.col("net_savings") <= 0).sort("rank")

    @cached_property
    def placeholders_used(self) -> list[str]:
        """Recommended strategies whose investment is a placeholder."""
        best = set(self.paying["best_strategy"])
        return [name for name in self.placeholders if name in best]

    @cached_property
    def by_zone(self) -> pl.DataFrame:
        """Totals of each climate zone, the one that saves most first."""
        sums = ["sites", "sites_with_savings", "cost_saved", "investment", "net_savings", "emissions_saved_kg"]
        zones = self.groups.group_by("climate_zone").agg(pl.col(sums).sum())
        return zones.sort("net_savings", "climate_zone", descending=[True, False])

    @cached_property
    def changes(self) -> pl.DataFrame:
        """What would be changed into what: sites, electricity and fuel saved, money."""
        sums = ["electricity_saved_kwh", "fuel_saved_kwh", "cost_saved", "investment", "net_savings"]
        changed = self.paying.group_by("current_strategy", "best_strategy").agg(
            pl.len().alias("sites"), pl.col(sums).sum()
        )
        return changed.sort("net_savings", "current_strategy", "best_strategy", descending=[True, False, False])

    @cached_property
    def compared(self) -> pl.DataFrame:
        """The sites whose energy is compared strategy by strategy: those worth changing, or all where none is."""
        return self.ranking if self.paying.is_empty() else self.paying

    def end_uses(self) -> pl.DataFrame:
        """Energy of the compared sites by end use and square metre [kWh/(m2 a)]: as today, at best, by strategy.

        `label`, `note` and the end uses. A strategy counts at the sites that can have it, over their floor area.
        """
        area = self.sites.select("site_id", "floor_area_m2")
        chosen = self.compared.select("site_id", "best_strategy").join(area, on="site_id")
        uses = self.results.join(chosen, on="site_id").filter(pl.col("unavailable").is_null())
        per_area = [pl.col(c).fill_null(0.0).sum() / pl.col("floor_area_m2").sum() for c in END_USES]
        sums = [pl.len().alias("sites"), pl.col("hours_above_limit").mean().alias("hours"), *per_area]
        today = uses.filter("is_current").select(pl.lit("as today").alias("label"), *sums)
        best = uses.filter(pl.col("strategy") == pl.col("best_strategy"))
        best = best.select(pl.lit("best for each site").alias("label"), *sums)
        order = pl.DataFrame({"label": list(self.summaries)})
        each = order.join(uses.group_by(label="strategy").agg(sums), on="label", maintain_order="left")
        every = pl.concat([today, best, each]).filter(pl.col("sites") > 0)
        some = pl.concat_str(pl.lit("at "), pl.col("sites"), pl.lit(f" of {chosen.height} sites"))
        damp = pl.concat_str(pl.lit("above the limit "), pl.col("hours").round().cast(pl.Int64), pl.lit(" h/yr"))
        notes = [
            pl.when(pl.col("sites") < chosen.height).then(some),
            pl.when(pl.col("hours") > NOTEWORTHY_H).then(damp),
        ]
        note = pl.concat_list(notes).list.drop_nulls().list.join(", ")
        return every.with_columns(label=pl.col("label").str.replace_all("_", " "), note=note)

    def assumptions(self) -> pl.DataFrame:
        """Figures assumed at the sites worth changing, in the order in which `check` has them: those that most hangs on first.

        `figure` in words, `column`, `sites`, `net_savings` of those sites, `origin` most often used.
        """
        weight = self.compared.select("site_id", "net_savings")
        origins = self.sites.join(weight, on="site_id").select(
            "site_id", "net_savings", pl.col("^.*_origin$").exclude("place_origin")
        )
        long = origins.unpivot(index=["site_id", "net_savings"], variable_name="column", value_name="origin")
        assumed = long.filter(pl.col("origin").str.starts_with(ASSUMED)).with_columns(
            pl.col("column").str.strip_suffix("_origin"),
            pl.col("origin").str.strip_prefix(ASSUMED).str.strip_chars(": "),
        )
        counted = assumed.group_by("column").agg(
            pl.len().alias("sites"), pl.col("net_savings").sum(), pl.col("origin").sort().mode().sort().first()
        )
        share = completeness(self.sites).select("column", "share")
        both = share.filter(pl.col("column") == LIMIT).select(pl.lit([*LIMIT_COLUMNS]).alias("column"), "share")
        counted = counted.join(pl.concat([share, both.explode("column")]), on="column", how="left")
        described = {field.name: figure_name(field) for field in load("sites").fields}
        return (
            counted.with_columns(figure=pl.col("column").replace_strict(described, default=pl.col("column")))
            .sort("share", "net_savings", "column", descending=[True, True, False], nulls_last=True)
            .head(ASSUMPTIONS_SHOWN)
        )

    @cached_property
    def ranges(self) -> dict[str, dict[str, float]]:
        """The rows of portfolio_odds by figure; nothing where the run has no odds."""
        if self.odds is None:
            return {}
        return {row["figure"]: row for row in self.odds["portfolio_odds"].iter_rows(named=True)}

    def find_out(self) -> pl.DataFrame:
        """The blanks that are most worth filling: `site_id, name, figure` and what knowing each is `worth_knowing` by the odds of
        the run, as `screener odds` lists them; of a run without odds the `share` of all that hangs on blanks, as `check` does."""
        if self.odds is None:
            return blanks(self.sites, FIND_OUT_SHOWN).rename({"column": "figure"})
        asked = beside.worth_finding_out(self.odds["odds_figures"]).head(FIND_OUT_SHOWN)
        return asked.join(self.ranking.select("site_id", "name"), on="site_id", how="left", maintain_order="left")

    def assumed_today(self) -> int:
        """How many of the sites worth changing have a strategy today that nobody stated."""
        stated = self.sites.filter(is_given("current_strategy"))["site_id"]
        used = self.sites.filter(~pl.col("site_id").is_in(stated.implode()))["site_id"]
        return self.paying.filter(pl.col("site_id").is_in(used.implode())).height

    def still_damp(self) -> pl.DataFrame:
        """Sites worth changing that stay above their limit for many hours even so."""
        return self.paying.filter(pl.col("hours_above_limit") > NOTEWORTHY_H)

    def first_sites(self, share: float = 0.8) -> pl.DataFrame:
        """The sites in order of rank that together bring this share of the net savings."""
        before = pl.col("net_savings").cum_sum() - pl.col("net_savings")
        return self.paying.filter(before < share * pl.col("net_savings").sum())

    def uncontrolled(self) -> pl.DataFrame:
        """Sites that control no humidity today and are often above their limit."""
        return self.ranking.filter(
            (pl.col("current_strategy") == next(iter(self.summaries))) & (pl.col("hours_above_limit") > NOTEWORTHY_H)
        )

    def name_of(self, site_id: str) -> str:
        """What people call a site."""
        names = self.ranking.filter(site_id=site_id)["name"]
        return text.words(names[0]) if len(names) and names[0] else site_id
