"""The report of a run: questions of those who decide, each answered in a sentence, a picture and a table."""

import base64
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl
from markupsafe import Markup

from screener import __version__, text
from screener.report.charts import odds
from screener.report.charts.end_uses import end_uses
from screener.report.charts.payback import payback
from screener.report.charts.savings_curve import savings_curve
from screener.report.charts.site_map import site_map
from screener.report.charts.strategy_grid import strategy_grid
from screener.report.findings import Findings
from screener.report.svg import Chart, drawable
from screener.report.tables import Column, Table, table
from screener.report.words import CAUTIONS, listed, placeholder_caution

if TYPE_CHECKING:
    import jinja2

TEMPLATES = Path(__file__).parent / "templates"
ROWS = 200  # of the list of sites; the files hold all


def portfolio_page(found: Findings) -> str:
    """The whole report as one HTML document that needs nothing else."""
    return render(
        "portfolio.html",
        found=found,
        totals=found.totals,
        money=found.currency,
        charts=portfolio_charts(found),
        tables={each.name: each for each in _tables(found)},
        first=found.first_sites(),
        assumptions=found.assumptions(),
        find_out=found.find_out(),
    )


def portfolio_charts(found: Findings) -> dict[str, Chart]:
    """The pictures of the report, by name."""
    unit = "kWh of electricity and fuel per m² of floor and year"
    which = f"The {text.count(found.compared.height, 'site')} " + (
        "ranked" if found.paying.is_empty() else "worth changing"
    )
    charts = (
        savings_curve(found.ranking, found.currency),
        site_map(found.ranking, found.sites, found.currency),
        payback(found.ranking, found.currency),
        strategy_grid(found.groups, found.currency),
        end_uses(found.end_uses(), unit, which),
        *_odds_charts(found),
    )
    return {chart.name: chart for chart in charts}


def _odds_charts(found: Findings) -> list[Chart]:
    """The pictures of a run with odds."""
    if found.odds is None:
        return []
    sites, portfolio, figures, draws = (found.odds[n] for n in ("odds", "portfolio_odds", "odds_figures", "odds_draws"))
    return [
        odds.ranges(sites, found.currency),
        odds.tornado(figures, portfolio, found.currency),
        odds.curve(draws, portfolio, found.currency),
    ]


def render(template: str, **context: Any) -> str:
    """A template of this package filled in; whatever is not markup already is escaped."""
    shared = {"version": __version__, "script": _script(), "script_hash": _script_hash(), "styles": _styles()}
    return _templates().get_template(template).render(**shared, **context)


def _templates() -> "jinja2.Environment":
    import jinja2

    templates = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        finalize=drawable,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters |= {
        "tonnes": tonnes,
        "whole": text.whole,
        "tenths": text.tenths,
        "rounded": text.rounded,
        "words": text.words,
    }
    templates.globals |= {"count": text.count, "listed": listed, "placeholder_caution": placeholder_caution}
    templates.globals["cautions"] = CAUTIONS
    return templates


def tonnes(value: float) -> str:
    """Whole tonnes of many, tenths of few."""
    return text.whole(value) if abs(value) >= 100 else text.tenths(value)


def _styles() -> Markup:
    return Markup("".join((TEMPLATES / name).read_text(encoding="utf-8") for name in ("page.css", "chart.css")))


def _script() -> Markup:
    return Markup((TEMPLATES / "sort.js").read_text(encoding="utf-8"))


def _script_hash() -> str:
    """What a browser asks of the one script it may run."""
    return base64.b64encode(hashlib.sha256(_script().encode()).digest()).decode()


def _tables(found: Findings) -> list[Table]:
    money = found.currency
    a_year = f"{money}/yr"
    own = [
        Column(
            name, field.description.removeprefix("of the owner: "), form=str if field.kind == "string" else text.plain
        )
        for name, field in found.own_fields.items()
    ]
    first = [
        Column("without_equipment_strategy", "first, without equipment", width="some"),
        Column("without_equipment_saved", "saves by itself, after upkeep", a_year, text.whole),
        Column("without_equipment_condition", "on condition", width="wide"),
    ]
    sure = [Column("net_savings_p10", "exceeded with 90 %", money, text.rounded)] if found.odds is not None else []
    zones = [
        Column("climate_zone", "climate zone"),
        Column("sites", "sites", form=text.whole),
        Column("sites_with_savings", "worth changing", form=text.whole),
        Column("cost_saved", "saved", a_year, text.whole),
        Column("emissions_saved_kg", "CO₂ saved", "kg/yr", text.whole),
        Column("investment", "investment", money, text.whole),
        Column("net_savings", "net savings", money, text.whole),
    ]
    sites = [
        Column("rank", "rank", form=text.whole),
        Column("site_id", "site", form=str),
        Column("name", "name", width="some"),
        Column("building_type", "kind"),
        Column("climate_zone", "zone"),
        Column("current_strategy", "today", width="some"),
        Column("best_strategy", "best", width="some"),
        Column("cost_saved", "saved", a_year, text.whole),
        Column("investment", "investment", money, text.whole),
        Column("net_savings", "net savings", money, text.whole),
        *sure,
        Column("simple_payback_years", "payback", "years", text.tenths),
        Column("hours_above_limit", "above limit", "h/yr", text.whole),
    ]
    behind_sites = [
        Column("electricity_saved_kwh", "electricity saved", "kWh/yr", text.whole),
        Column("fuel_saved_kwh", "fuel saved", "kWh/yr", text.whole),
        Column("recovery_saved", "of it heat recovery", a_year, text.whole),
        Column("savings_to_investment", "savings to investment", "ratio", text.tenths),
        Column("holding_strategy", "cheapest that holds the limit", width="some"),
        Column("holding_hours_above_limit", "above limit with it", "h/yr", text.whole),
        Column("holding_price", "costs more than the best", money, text.whole),
        *first,
        Column("assumed_share", "assumed", "% by weight", text.percent),
        *own,
        Column("notes", "notes", width="wide"),
    ]
    changes = [
        Column("current_strategy", "today", width="some"),
        Column("best_strategy", "change to", width="some"),
        Column("sites", "sites", form=text.whole),
        Column("electricity_saved_kwh", "electricity saved", "kWh/yr", text.whole),
        Column("fuel_saved_kwh", "fuel saved", "kWh/yr", text.whole),
        Column("cost_saved", "saved", a_year, text.whole),
        Column("investment", "investment", money, text.whole),
        Column("net_savings", "net savings", money, text.whole),
    ]
    shortlist = [
        Column("strategy", "strategy", width="some"),
        Column("sites", "sites", form=text.whole),
        Column("available", "can have it", form=text.whole),
        Column("holding", "and hold the limit as well as today", form=text.whole),
        Column("paying", "and save more than it costs", form=text.whole),
        Column("best", "and are best off with it", form=text.whole),
        Column("summary", "what it is", width="wide"),
    ]
    what_if = [
        Column("case", "if", width="some"),
        Column("sites_with_savings", "worth changing", form=text.whole),
        Column("cost_saved", "saved", a_year, text.whole),
        Column("investment", "investment", money, text.whole),
        Column("net_savings", "net savings", money, text.whole),
    ]
    assumptions = [
        Column("figure", "figure", width="some"),
        Column("sites", "sites", form=text.whole),
        Column("net_savings", "net savings of those sites", money, text.whole),
        Column("origin", "assumed from", width="wide"),
    ]
    find_out = [
        Column("site_id", "site", form=str),
        Column("name", "name", width="some"),
        Column("figure", "what to find out", width="some"),
        Column("share", "of all that hangs on blanks", "%", text.percent)
        if found.odds is None
        else Column("worth_knowing", "worth knowing", money, text.rounded),
    ]
    others = [
        Column("rank", "rank", form=text.whole),
        Column("site_id", "site", form=str),
        Column("name", "name", width="some"),
        Column("building_type", "kind"),
        Column("climate_zone", "zone"),
        Column("current_strategy", "today", width="some"),
        Column("current_dehumidification_electricity_kwh", "electricity for humidity today", "kWh/yr", text.whole),
        Column("current_dehumidification_fuel_kwh", "fuel for it", "kWh/yr", text.whole),
        Column("hours_above_limit", "above limit", "h/yr", text.whole),
    ]
    behind_others = [
        Column("holding_strategy", "cheapest that holds the limit", width="some"),
        Column("holding_hours_above_limit", "above limit with it", "h/yr", text.whole),
        Column("holding_price", "costs more than today", money, text.whole),
        *first,
        Column("assumed_share", "assumed", "% by weight", text.percent),
        *own,
        Column("notes", "notes", width="wide"),
    ]
    paying, others_there = found.with_more(found.paying.head(ROWS)), found.with_more(found.others.head(ROWS))
    told = found.shortlist.with_columns(summary=pl.col("strategy").replace_strict(dict(found.summaries), default=None))
    return [
        table("zones", "Savings by climate zone", found.by_zone, zones),
        table("sites", "Sites worth changing, in order of net savings", paying, sites, behind_sites),
        table("other-sites", "Sites where no change pays", others_there, others, behind_others),
        table("changes", "What would be changed into what", found.changes, changes),
        table("shortlist", "How each candidate fared at the sites that do not have it", told, shortlist),
        table("what-if", "The ranking under other prices", found.what_if, what_if),
        table(
            "find-out",
            "What to find out first, and what "
            + ("hangs on it" if found.odds is None else "knowing it before choosing is worth"),
            found.find_out(),
            find_out,
        ),
        table("assumptions", "Figures assumed at the sites worth changing", found.assumptions(), assumptions),
    ]
