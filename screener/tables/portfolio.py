"""A portfolio folder as checked frames, with every fault and every rejected row."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import polars as pl

from screener.contracts import PLACEHOLDER, Contract, load
from screener.errors import ContractError, no_faults, table_fault
from screener.tables import (
    adopted,
    hindrances,
    links,
    offers,
    own_columns,
    profiles,
    ratings,
    shipped,
    spreads,
    tariff_sense,
)
from screener.tables.checking import CheckedTable, checked
from screener.tables.files import find_tables, links_outside
from screener.tables.offers import OFFERS
from screener.tables.reading import RawTable, read_table
from screener.tables.settings import FILE as SETTINGS_FILE
from screener.tables.settings import Settings, names_currency, read_settings
from screener.tables.tariff_faults import TABLES as TARIFF_TABLES
from screener.tables.tariff_faults import tariff_faults
from screener.text import count

TABLES = (
    "strategies",
    "building_types",
    "profiles",
    "spreads",
    "equipment",
    *TARIFF_TABLES,
    "sites",
    "offers",
)  # each refers to earlier ones only
REQUIRED = {"sites": "the buildings, one row each", "tariffs": "what energy costs"}
TOLD = 3  # names in a note
WEATHER = "weather"  # folder of the sites' own weather files
REJECT_SCHEMA: Mapping[str, type[pl.DataType]] = {
    "table": pl.String,
    "row": pl.Int64,
    "site_id": pl.String,
    "columns": pl.String,
    "rules": pl.String,
    "reasons": pl.String,
    "record": pl.String,
}


@dataclass(frozen=True)
class Portfolio:
    """The good rows of every table, typed and in SI, and what became of the others.

    `sites` keeps `row`. `sites_given` has site_id and, per column of the sites contract, "given", "converted" or null.
    `building_type_sources` says in words where each figure of `building_types` comes from; `profiles` are those of all types,
    resolved, and so are the `spreads`. `own_columns`: those of the owner. `faults` is a fault frame,
    `blanked` one of cells of sites that cannot be read and are taken for empty; `rejects` has one row per row that is rejected or
    set aside, with the row as typed in `record` (JSON).
    """

    folder: Path
    settings: Settings
    sites: pl.DataFrame
    sites_given: pl.DataFrame
    tariffs: pl.DataFrame
    tariff_periods: pl.DataFrame
    tariff_tiers: pl.DataFrame
    tariff_charges: pl.DataFrame
    strategies: pl.DataFrame
    equipment: pl.DataFrame
    offers: pl.DataFrame
    building_types: pl.DataFrame
    building_type_sources: pl.DataFrame
    profiles: pl.DataFrame
    spreads: pl.DataFrame
    own_columns: pl.DataFrame
    faults: pl.DataFrame
    blanked: pl.DataFrame
    rejects: pl.DataFrame
    notes: list[str]
    tables: tuple[Path, ...]
    raws: Mapping[str, RawTable] = field(repr=False)

    @property
    def inputs(self) -> dict[str, pl.DataFrame]:
        """What a run folder keeps of it beside the sites, so that it can be priced and explained without the portfolio."""
        names = (*TARIFF_TABLES, "strategies", "equipment", "offers", "profiles", "spreads", own_columns.TABLE)
        return {name: getattr(self, name) for name in names}

    @property
    def files(self) -> list[Path]:
        """Every input file that is there: tables, settings, and the weather files that the sites name."""
        weather = [self.folder / WEATHER / name for name in self.sites["weather_file"].drop_nulls().unique()]
        return sorted([*self.tables, *filter(Path.is_file, weather)])

    def part(self, first: int, count: int) -> "Portfolio":
        """The portfolio with `count` of its sites, in the order of their ids, from number `first` on."""
        sites = self._by_id.slice(first, count)
        given = self._given_by_id.slice(first, count)
        return replace(self, sites=sites, sites_given=given)

    @cached_property
    def _by_id(self) -> pl.DataFrame:
        return self.sites.sort("site_id")

    @cached_property
    def _given_by_id(self) -> pl.DataFrame:
        return self.sites_given.sort("site_id")

    def without(self, faults: pl.DataFrame) -> "Portfolio":
        """The portfolio less the sites that a later stage found at fault; they join the rejects, whole.

        `faults` is a fault frame; those that name no row of the sites are only remembered.
        """
        if faults.is_empty():
            return self
        lost = faults.filter((pl.col("table") == "sites") & pl.col("row").is_not_null())
        gone = pl.col("row").is_in(lost["row"].implode())
        names = self.sites.filter(gone)["site_id"]
        return replace(
            self,
            sites=self.sites.filter(~gone),
            sites_given=self.sites_given.filter(~pl.col("site_id").is_in(names.implode())),
            faults=pl.concat([self.faults, faults]),
            rejects=pl.concat([self.rejects, _rejects(lost, self.raws)]),
        )


def read_portfolio(folder: Path) -> Portfolio:
    """Read and check every table of a portfolio folder.

    Faults of single rows reject those rows; faults of whole tables, or no good site left, raise ContractError after
    everything has been looked at, with all faults.
    """
    files, raws, settings, faults, notes = _read(folder)
    tables: dict[str, CheckedTable] = {}
    for name, raw in raws.items():
        tables[name] = checked(raw, _contract(name, tables), settings.decimal_mark)
        notes += tables[name].notes
    priced = {name: tables[name] for name in TARIFF_TABLES if name in tables}
    of_tariffs = tariff_faults(priced, settings.currency)
    faults = [*faults, *[table.faults for table in tables.values()], of_tariffs]
    good = _Good(pl.concat([no_faults(), *faults]))
    for name in TABLES:
        if name in tables:
            faults += good.add(tables[name])
    found = pl.concat([no_faults(), *faults]).sort("table", "row", nulls_last=False, maintain_order=True)
    if not found.filter(pl.col("row").is_null()).is_empty():
        raise ContractError(found)
    rejects = pl.concat([_rejects(found, raws), _aside(raws), adopted.set_aside(folder, REJECT_SCHEMA)])
    blanked = pl.concat([no_faults(), *(table.blanked for table in tables.values())])
    blanked = blanked.filter(
        pl.col("row").is_in(good.known["sites"]["row"].implode()) if "sites" in good.known else True
    )
    if good.known["sites"].is_empty():
        nothing = table_fault("sites", "no good rows", "every site is at fault; correct at least one")
        raise ContractError(pl.concat([found, nothing]))
    sites = tables["sites"]
    notes += tariff_sense.notes(priced, settings.currency, {*sites.values["tariff_id"]})
    if not names_currency(folder):
        notes.append(f"{SETTINGS_FILE} names no currency: prices are taken for {settings.currency}")
    given = sites.given.with_columns(site_id=sites.values["site_id"])
    own, told = own_columns.of_sites(raws["sites"], good.known["sites"], raws["sites"].said)
    notes += told
    types = good.types
    noted = offers.lost_notes(good.known["sites"], _lost_offers(tables, good), _of_cells(blanked, raws["sites"]))
    return Portfolio(
        folder=folder,
        settings=settings,
        sites=good.known["sites"].join(noted, on="site_id", how="left", maintain_order="left"),
        sites_given=given.filter(sites.values["row"].is_in(good.known["sites"]["row"].implode())),
        **{name: good.known[name] for name in TARIFF_TABLES},
        strategies=good.known["strategies"],
        equipment=good.known["equipment"],
        offers=good.known["offers"],
        building_types=types.values,
        building_type_sources=types.sources,
        profiles=profiles.resolved(good.known["profiles"], types.values),
        spreads=spreads.resolved(good.known["spreads"]),
        own_columns=own,
        faults=found,
        blanked=blanked,
        rejects=rejects,
        notes=[*notes, *left_blank(blanked), *_remarks(good.known["strategies"], settings)],
        tables=files,
        raws=raws,
    )


def _contract(name: str, earlier: Mapping[str, CheckedTable]) -> Contract:
    """The contract of a table; a building type of the portfolio's own is no other word for a shipped one."""
    contract = load(name)
    if name == "building_types":
        return contract.without_synonyms("building_type", contract.field("building_type").synonyms)
    if name == "sites" and "building_types" in earlier:
        return contract.without_synonyms("building_type", earlier["building_types"].values["building_type"].to_list())
    return contract


def _read(
    folder: Path,
) -> tuple[tuple[Path, ...], dict[str, RawTable], Settings, list[pl.DataFrame], list[str]]:
    """The files that are read, the tables and settings in them, and faults and notes about the folder."""
    if not folder.is_dir():
        message = f"{folder} is not a folder; give the folder that holds sites.csv and tariffs.csv"
        raise ContractError(table_fault("portfolio", "missing folder", message))
    sources = find_tables(folder, set(TABLES))
    settings, faults = read_settings(folder)
    raws = {name: read_table(sources[name], load(name), name in REQUIRED) for name in TABLES if name in sources}
    if "tariffs" not in sources and "sites" in raws:
        raws["sites"] = _without_rates(raws["sites"])
    there = ", ".join(str(source) for name in sources for source in sources[name]) or "no tables"
    missing = [
        table_fault(name, "missing table", f"{folder.name} has {there}; add {name}.csv: {what}")
        for name, what in REQUIRED.items()
        if name not in sources and (name == "sites" or _names_tariffs(raws.get("sites")))
    ]
    notes = [note for raw in raws.values() for note in raw.notes]
    unused = [name for name in sources if name not in TABLES and name not in adopted.FILES]
    notes += [f"{sources[name][0]} is not used: no table of that name" for name in unused]
    files = {source.file for name in raws for source in sources[name]}
    if (folder / SETTINGS_FILE).is_file():
        files.add(folder / SETTINGS_FILE)
    notes += links_outside(folder, [*files, folder / WEATHER])
    return tuple(sorted(files)), raws, settings, [faults, *missing], notes


def _without_rates(sites: RawTable) -> RawTable:
    """The sites with tariffs that a heading such as Rate names, and no table prices, as a column of the owner's own."""
    heading = sites.headings.get("tariff_id", "tariff_id")
    if "tariff_id" not in sites.frame.columns or heading.lower() == "tariff_id":
        return sites
    name = heading.lower() if heading.lower() not in sites.frame.columns else "named_tariff"
    note = (
        f'sites: "{heading}" names tariffs that no table prices: average prices of the states stand in; add tariffs.csv'
    )
    renamed = {"tariff_id": name}
    return replace(
        sites,
        frame=sites.frame.rename(renamed),
        typed=None if sites.typed is None else sites.typed.rename(renamed),
        headings={renamed.get(column, column): spelt for column, spelt in sites.headings.items()},
        notes=(*sites.notes, note),
    )


def _names_tariffs(sites: RawTable | None) -> bool:
    """Whether some site says what it pays; else average prices of the states stand in for all."""
    if sites is None or "tariff_id" not in sites.frame.columns:
        return sites is None
    return sites.frame["tariff_id"].null_count() < sites.frame.height


class _Good:
    """The good rows so far, and the keys of rejected ones, table by table in the order of TABLES.

    A table with a fault as a whole is not kept: what refers to it is not checked, and reading ends in an error anyway.
    """

    def __init__(self, faults: pl.DataFrame) -> None:
        self.faults = faults
        self.unread = set(faults.filter(pl.col("row").is_null())["table"])
        self.types = shipped.building_types()
        names = ("profiles", "spreads", "equipment", *TARIFF_TABLES, "sites", "offers")
        self._empty = {name: pl.DataFrame(schema=load(name).polars_schema()) for name in names}
        known = {"strategies": shipped.strategies(), "building_types": self.types.values} | self._empty
        self.known = {name: rows for name, rows in known.items() if name not in self.unread}
        self.rejected: dict[str, list[str]] = {}

    def add(self, table: CheckedTable) -> list[pl.DataFrame]:
        """Check a table against those before it, keep its good rows and return the faults found on the way."""
        name = table.contract.name
        faults = [links.unknown_references(table, self.known, self.rejected)]
        if name == "strategies":
            faults.append(links.unknown_strategies(table, shipped.strategies()))
        if name in ("sites", "building_types", "equipment"):
            faults.append(links.advice_as_equipment(table))
        if name == "building_types":
            faults += [
                links.new_types_without_base(table, self.types.values),
                links.set_point_faults(table, self.types.values),
                links.closed_month_faults(table),
                ratings.coil_faults(table, self.types.values),
            ]
        if name in ("equipment", OFFERS):
            faults.append(ratings.impossible(table))
        if name == "profiles":
            faults.append(profiles.doubled(table))
        if name == "spreads":
            faults.append(spreads.faults(table, shipped.strategies()["strategy"]))
        if name == OFFERS:
            faults.append(offers.offer_faults(table))
        if name == "sites":
            faults.append(hindrances.faults(table, shipped.strategies()["strategy"].to_list()))
            names = ("tariffs", "tariff_periods", "tariff_charges")
            tariffs, periods, charges = (self.known.get(n, self._empty[n]) for n in names)
            equipment = self.known.get("equipment")
            faults.append(ratings.coil_faults(table, self.types.values))
            faults.append(links.site_faults(table, self.types.values, tariffs, periods, charges, equipment))
        earlier = self.faults.filter(pl.col("table") == name)
        bad = pl.concat([earlier, *faults])["row"].drop_nulls().unique()
        is_bad = pl.col("row").is_in(bad.implode())
        for key in table.contract.primary_key[:1]:
            self.rejected[name] = table.values.filter(is_bad)[key].drop_nulls().to_list()
        if name not in self.unread:
            self._keep(name, table.values.filter(~is_bad))
        return faults

    def _keep(self, name: str, rows: pl.DataFrame) -> None:
        if name == "strategies":
            rows = shipped.with_own_strategies(rows)
        if name == "building_types":
            self.types = shipped.with_own_building_types(rows)
            rows = self.types.values
        self.known[name] = rows if name == "sites" else rows.drop("row", strict=False)


def _aside(raws: Mapping[str, RawTable]) -> pl.DataFrame:
    """Rows of a sheet of sites that are no site to rank, as rejects: `rules` says what they are."""
    found = [pl.DataFrame(schema=REJECT_SCHEMA)]
    for name, raw in raws.items():
        if not raw.aside.is_empty():
            cells = [column for column in raw.aside.columns if column not in ("row", "kind", "reason")]
            site = pl.col("site_id") if "site_id" in cells else pl.lit(None, pl.String)
            found.append(
                raw.aside.select(
                    pl.lit(name).alias("table"),
                    "row",
                    site.alias("site_id"),
                    pl.lit(None, pl.String).alias("columns"),
                    pl.col("kind").alias("rules"),
                    pl.col("reason").alias("reasons"),
                    pl.struct(cells).struct.json_encode().alias("record"),
                )
            )
    return pl.concat(found)


def left_blank(blanked: pl.DataFrame) -> list[str]:
    """A note on each column of sites that has cells which cannot be read."""
    notes = []
    for (column, message), group in blanked.group_by("column", "message", maintain_order=True):
        rows = ", ".join(map(str, group["row"].head(5))) + (" ..." if group.height > 5 else "")
        notes.append(
            f'sites: {column} of {count(group.height, "row")} ({rows}) cannot be read, as "{group["value"][0]}", '
            f"and is taken for empty: {message}"
        )
    return notes


def _of_cells(blanked: pl.DataFrame, sites: RawTable) -> pl.DataFrame:
    """`row` and `row_note` of sites with such cells, or of which their sheet says more."""
    note = pl.concat_str("column", pl.lit(' "'), "value", pl.lit('" cannot be read and is taken for empty'))
    told = pl.concat([blanked.select("row", note=note), sites.row_notes])
    return told.group_by("row", maintain_order=True).agg(row_note=pl.col("note").str.join("; "))


def _lost_offers(tables: Mapping[str, CheckedTable], good: "_Good") -> pl.DataFrame:
    """The rejected rows of the offers table, as far as they could be read."""
    if OFFERS not in tables:
        return good.known[OFFERS]
    lost = tables[OFFERS].values
    return lost.filter(~pl.col("offer_id").is_in(good.known[OFFERS]["offer_id"].implode()).fill_null(False))


def _rejects(faults: pl.DataFrame, raws: Mapping[str, RawTable]) -> pl.DataFrame:
    """One row per rejected row of a file: every reason, and the row as it was typed."""
    reasons = faults.group_by("table", "row", maintain_order=True).agg(
        pl.col("site_id").first(),
        pl.col("column").drop_nulls().unique(maintain_order=True).str.join(", ").alias("columns"),
        pl.col("rule").unique(maintain_order=True).str.join(", ").alias("rules"),
        pl.col("message").str.join(" | ").alias("reasons"),
    )
    rejects = [pl.DataFrame(schema=REJECT_SCHEMA)]
    for name, raw in raws.items():
        mine = reasons.filter(pl.col("table") == name)
        typed = raw.frame if raw.typed is None else raw.typed
        rows = typed.join(mine, on="row", how="semi")
        record = rows.select("row", record=pl.struct(pl.exclude("row")).struct.json_encode())
        rejects.append(mine.join(record, on="row", maintain_order="left").select(list(REJECT_SCHEMA)))
    return pl.concat(rejects)


def placeholders(strategies: pl.DataFrame) -> list[str]:
    """The candidates of a strategies table whose investment is a shipped placeholder."""
    return strategies.filter(pl.col("candidate") & pl.col("note").str.starts_with(PLACEHOLDER))["strategy"].to_list()


def _remarks(strategies: pl.DataFrame, settings: Settings) -> list[str]:
    """What a person should know about the tables though it is no fault."""
    disorder = [
        f"{name} is priced below {inner}, which is a part of it: check the strategies table"
        for name, inner in out_of_order(strategies)
    ]
    shipped_prices = placeholders(strategies)
    if not shipped_prices:
        return disorder
    told = shipped_prices if len(shipped_prices) <= TOLD + 1 else shipped_prices[:TOLD]
    names = ", ".join(told) + (f" and {len(shipped_prices) - TOLD} more" if told != shipped_prices else "")
    unit = "" if settings.currency == "USD" else f" in USD, not {settings.currency}"
    return [*disorder, f"investment of {names} is a placeholder{unit}: give your own in a strategies table"]


def out_of_order(strategies: pl.DataFrame) -> list[tuple[str, str]]:
    """Candidates priced below a machine that is a part of theirs, and that machine, at a size usual for a store."""
    sizes = {"investment_per_l_day": 300.0, "investment_per_kw": 150.0, "investment_per_l_s": 1000.0}
    power = pl.col("size_exponent").fill_null(1.0)
    at = [pl.col(name) * pl.coalesce("price_at_size", pl.lit(size)) for name, size in sizes.items()]
    scaled = [
        price * (size / pl.coalesce("price_at_size", pl.lit(size))) ** power
        for price, size in zip(at, sizes.values(), strict=True)
    ]
    priced = strategies.with_columns(price=pl.sum_horizontal("investment_fixed", *scaled)).filter("candidate")
    inner = priced.select(contains="strategy", inner_price="price")
    wrong = priced.join(inner, on="contains", maintain_order="left").filter(pl.col("price") < pl.col("inner_price"))
    return list(wrong.select("strategy", "contains").iter_rows())
