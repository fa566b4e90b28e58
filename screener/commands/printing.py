"""Answers in words: the tables and sentences that the commands print."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from screener import text

if TYPE_CHECKING:
    import polars as pl

    from screener.pipeline import Run
    from screener.ranking.compare import Comparison
    from screener.ranking.protection import Protected
    from screener.ranking.questions import Chosen, Listing

RANKING: dict[str, tuple[str, text.Format]] = {
    "rank": ("rank", text.whole),
    "site_id": ("site", str),
    "name": ("name", text.words),
    "climate_zone": ("zone", text.words),
    "current_strategy": ("today", text.words),
    "best_strategy": ("best", text.words),
    "electricity_saved_kwh": ("kWh/yr saved", text.whole),
    "fuel_saved_kwh": ("of fuel", text.whole),
    "cost_saved": ("saved/yr", text.whole),
    "investment": ("investment", text.whole),
    "net_savings": ("net savings", text.whole),
    "simple_payback_years": ("payback yr", text.tenths),
}
SPARE = (  # columns that a narrow terminal does without, first the first
    *("fuel_saved_kwh", "current_strategy", "climate_zone", "electricity_saved_kwh", "simple_payback_years"),
    *("cumulative_investment", "cumulative_cost_saved", "cumulative_net_savings", "investment", "cost_saved"),
)
TOTALS: dict[str, tuple[str, text.Format]] = {
    "figure": ("all sites", text.words),
    "before": ("before", text.whole),
    "after": ("after", text.whole),
    "change": ("change", text.whole),
}
MOVED: dict[str, tuple[str, text.Format]] = {
    "site_id": ("site", str),
    "rank_before": ("rank before", text.whole),
    "rank_after": ("after", text.whole),
    "best_before": ("best before", text.words),
    "best_after": ("best after", text.words),
    "net_savings_before": ("net savings before", text.whole),
    "net_savings_after": ("after", text.whole),
    "reason": ("why", text.words),
}
RUNNING = {
    "cumulative_cost_saved": ("saved to here", text.whole),
    "cumulative_investment": ("invested to here", text.whole),
    "cumulative_net_savings": ("net to here", text.whole),
}
IN_ORDER = ("site_id", "name", "climate_zone", "best_strategy", "cost_saved", "investment", "net_savings")
IN_GROUPS = ("sites", "sites_with_savings", "cost_saved", "investment", "net_savings")
PROGRAM: dict[str, tuple[str, text.Format]] = {
    "phase": ("year", text.whole),
    **{name: RANKING[name] for name in ("site_id", "name", "climate_zone")},
    "strategy": ("change to", text.words),
    **{name: RANKING[name] for name in ("cost_saved", "investment", "net_savings", "simple_payback_years")},
}
# Part of a column's name: heading that is shorter, and decimal places; others have one.
PLACES = {"latitude": 3, "longitude": 3, "humidity_ratio": 2, "ton_hours": 2, "pressure": 0, "hours": 0, "elevation": 0}
SHORTER = {
    "hours_above_12_8_c_dew_point": "h_above_12.8_c_dew_point",
    "latent_ton_hours_per_cfm": "latent_ton_h_cfm",
    "sensible_ton_hours_per_cfm": "sensible_ton_h_cfm",
}


def summary(result: "Run", top: int) -> str:
    """The first sites of the ranking and the totals of all."""
    from screener.contracts import rejects  # which needs polars, as help does not
    from screener.contracts.origins import ASSUMED_TODAY  # with polars: not for help

    shown, currency = result.ranking.head(top), result.settings.currency
    totals = result.totals.row(0, named=True)
    lines = [rejects.in_words(result.ranking.height, result.rejects), "", text.table(shown.to_dicts(), RANKING, SPARE)]
    if shown.height < result.ranking.height:
        lines.append(f"... and {result.ranking.height - shown.height} more sites in ranking.csv")
    lines.append("")
    ranked, better = text.count(result.ranking.height, "site"), text.count(totals["sites_with_savings"], "site")
    lines.append(
        f"{ranked} ranked, {better} worth changing: "
        f"{text.rounded(totals['cost_saved'])} {currency} saved a year for an investment of "
        f"{text.rounded(totals['investment'])} {currency}; net savings {text.rounded(totals['net_savings'])} {currency} "
        f"{_over(asdict(result.settings))}."
    )
    if totals["sites_unreconciled"]:
        aside = text.count(totals["sites_unreconciled"], "site")
        lines.append(f"{aside} set aside as unreconciled: a change would save more than the whole electricity bill.")
    paying = result.ranking.filter(result.ranking["net_savings"] > 0)
    if assumed := paying.filter(paying["notes"].str.contains(ASSUMED_TODAY, literal=True)).height:
        lines.append(
            f"What {text.count(assumed, 'site')} of these has today is assumed, not stated: savings rest on it."
        )
    lines += _recovered(totals, currency)
    lines += _without_equipment(totals, currency)
    lines += [*_placeholders(totals["sites_with_placeholders"]), *_published(totals, currency)]
    return "\n".join(lines)


def _recovered(totals: Mapping[str, Any], currency: str) -> list[str]:
    """How much of what is saved is heat recovery, where any is."""
    if round(totals["recovery_saved"]) == 0:
        return []
    dried, recovered = (text.rounded(totals[name]) for name in ("drying_saved", "recovery_saved"))
    return [f"Of what is saved a year {dried} {currency} are of drying, {recovered} {currency} of heat recovery."]


def _without_equipment(totals: Mapping[str, Any], currency: str) -> list[str]:
    """What may be done first, before anything is bought."""
    if not (sites := totals["sites_without_equipment"]):
        return []
    saved = text.rounded(totals["without_equipment_saved"])
    return [
        f"First, without equipment: {text.count(sites, 'site')} could save {saved} {currency} a year by how today's is run, "
        "each on a condition (columns without_equipment_* of ranking.csv); what is bought then saves less."
    ]


def comparison(result: "Comparison", top: int) -> str:
    """Two runs side by side: what was put in otherwise, totals, and the sites that moved most."""
    moved = result.moved
    lines = [*(f"differs in {what}" for what in result.changed), "", text.table(result.totals.to_dicts(), TOTALS), ""]
    if not moved.is_empty():
        lines.append(text.table(moved.head(top).to_dicts(), MOVED))
    if moved.height > top:
        lines.append(f"... and {text.count(moved.height - top, 'more site')} that moved; --top shows more, --json all")
    others = (moved["best_before"] != moved["best_after"]).sum()
    lines.append(
        f"{text.count(result.sites.height, 'site')}, of which {moved.height:,} moved, {others:,} to another best strategy."
    )
    return "\n".join(lines)


def listing(found: "Listing", top: int) -> str:
    """Sites or groups in order, with what the rows down to each would save together."""
    if found.rows.is_empty():
        return "no site meets all conditions"
    schema = found.rows.schema
    shown = (*found.named, *IN_GROUPS) if "sites" in schema else (*IN_ORDER, *found.named)
    columns = {name: RANKING.get(name, (name, _form(name, schema[name]))) for name in ("position", *shown)} | RUNNING
    lines = [text.table(found.rows.head(top).to_dicts(), columns, SPARE)]
    if top < found.rows.height:
        lines.append(f"... and {text.count(found.rows.height - top, 'more row')}; see --top")
    return "\n".join([*lines, *_placeholders(found.placeholders)])


def program(chosen: "Chosen", top: int) -> str:
    """The changes of a program, its years, its sums, and what is proven of it."""
    changes, figures, currency = chosen.program.changes, chosen.figures, chosen.settings["currency"]
    if changes.is_empty() and chosen.protected is not None:
        return "\n".join(["changing nothing is what the draws advise", *_protected(chosen.protected, currency)])
    if changes.is_empty():
        return "no change within these limits saves more than it costs"
    columns = {name: column for name, column in PROGRAM.items() if name != "phase" or chosen.phases > 1}
    lines = [text.table(changes.head(top).to_dicts(), columns, SPARE)]
    if top < changes.height:
        lines.append(f"... and {text.count(changes.height - top, 'more site')}; see --top")
    lines.append("")
    if chosen.phases > 1:
        lines += [f"Year {year['phase']}: {_bought(year, currency)}." for year in figures["by_phase"]]
    lines.append(
        f"Of {text.whole(figures['budget'] * figures['phases'])} {currency}: {_bought(figures, currency)}; "
        f"net savings {text.whole(figures['net_savings'])} {currency} {_over(chosen.settings)}."
    )
    if chosen.protected is not None:
        lines += _protected(chosen.protected, currency)
    else:
        lines.append(_proven(figures["gap"], figures["net_savings"], currency))
    return "\n".join([*lines, *_placeholders(figures["sites_with_placeholders"])])


def _bought(sums: Mapping[str, Any], currency: str) -> str:
    return (
        f"{text.count(sums['sites'], 'site')} for {text.whole(sums['investment'])} {currency}, "
        f"{text.whole(sums['cost_saved'])} {currency} saved a year"
    )


def _protected(found: "Protected", currency: str) -> list[str]:
    """What a program keeps at the lower end of the odds, and what that costs on average."""
    exceeded = f"exceeded with {1 - found.share:.0%}".replace("%", " %")
    same = "the same program" if found.price == 0.0 else text.count(found.highest_mean.changes.height, "site")
    return [
        f"Net savings are means of {found.draws:,} draws; {exceeded}: {text.rounded(found.quantile)} {currency}.",
        f"The program with the highest mean ({same}): {text.rounded(found.other_mean)} {currency} on average, "
        f"{exceeded}: {text.rounded(found.other_quantile)} {currency}. "
        f"The protection costs {text.rounded(found.price)} {currency} on average.",
        "The best of those that were tried, not proven.",
    ]


def _proven(gap: float, net_savings: float, currency: str) -> str:
    if gap == 0.0:
        return "Proven: within these limits no other choice has higher net savings."
    most = f"{gap:,.2f} {currency} ({gap / net_savings:.1g} of them)"
    return f"Proven: within these limits no other choice has net savings higher by more than {most}."


def _over(settings: Mapping[str, Any]) -> str:
    return f"over {settings['study_years']} years at {settings['discount_rate']:.1%} ({settings['rates']})"


def _placeholders(sites: int) -> list[str]:
    """Said wherever investments are printed that nobody quoted."""
    if not sites:
        return []
    return [f"The investment of {text.count(sites, 'site')} is a placeholder: put quotations in the strategies table."]


def _published(totals: Mapping[str, Any], currency: str) -> list[str]:
    """What published prices say of placeholders, where there are any."""
    if not (sites := totals["sites_with_published"]):
        return []
    low, high = (text.rounded(totals[name]) for name in ("published_low", "published_high"))
    of = text.count(sites, "site")
    return [f"Published prices of such equipment at {of} of them run from {low} to {high} {currency}, from memory."]


def frame(table: "pl.DataFrame") -> str:
    """A table under the names of its columns, as far as they are not too long."""
    forms = {name: (SHORTER.get(name, name), _form(name, dtype)) for name, dtype in table.schema.items()}
    return text.table(table.to_dicts(), forms)


def _form(name: str, dtype: "pl.DataType") -> text.Format:
    if dtype.is_integer():
        return text.whole
    if not dtype.is_float():
        return text.words
    return text.decimals(next((places for part, places in PLACES.items() if part in name), 1))
