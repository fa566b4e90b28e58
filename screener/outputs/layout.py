"""Which tables a run folder holds: what came out, and what it was made from."""

from dataclasses import dataclass
from pathlib import PurePosixPath

from screener.calendar import SLOTS

RUN_FILE, PACKAGE_FILE = "run.json", "datapackage.json"
ADDED_FILE = "files.json"  # digests of files that are no tables: the report, and what is added later
INPUT_FOLDER = "inputs"
DESCRIBED = "datapackage_sha256"  # what run.json says of datapackage.json


@dataclass(frozen=True)
class Output:
    """A table of the run folder: its name, its contract, the key it is sorted by, and the kinds of file it fills.

    `is_input`: what the run was made from, kept to the last bit so that it can be worked with again. `row_group`: rows of
    a Parquet file that are read together; of a ledger, 256 sites, some 20 MB. `may_lack`: a run is whole without it.
    """

    table: str
    contract: str
    key: tuple[str, ...]
    formats: tuple[str, ...]
    is_input: bool = False
    row_group: int = SLOTS * 256
    may_lack: bool = False

    def path(self, format: str) -> PurePosixPath:
        """Where in the folder its file of this kind lies."""
        return PurePosixPath(INPUT_FOLDER if self.is_input else "", f"{self.table}.{format}")

    @property
    def resource(self) -> str:
        """Its name in the data package, where inputs and outputs stand side by side."""
        return f"{INPUT_FOLDER}_{self.table}" if self.is_input else self.table


def _input(table: str, *key: str) -> Output:
    return Output(table, table, key, ("parquet",), is_input=True)


OUTPUTS = (
    Output("ranking", "ranking", ("rank",), ("parquet", "csv")),
    Output("strategies", "strategy_results", ("site_id", "strategy"), ("parquet",)),
    Output("bills", "bills", ("site_id", "strategy", "month", "carrier"), ("parquet",), may_lack=True),
    Output("ledger", "ledger", ("site_id", "month", "day_kind", "hour"), ("parquet",)),
    Output("groups", "groups", ("climate_zone", "building_type", "best_strategy"), ("csv",)),
    Output("sites_used", "sites_used", ("site_id",), ("parquet",), row_group=6_144),
    Output("rejects", "rejects", ("table", "row", "site_id", "columns", "reasons"), ("parquet",)),
)
INPUTS = (
    _input("tariffs", "tariff_id"),
    _input("tariff_periods", "tariff_id"),
    _input("tariff_tiers", "tariff_id"),
    _input("tariff_charges", "tariff_id"),
    _input("strategies", "strategy"),
    _input("equipment", "equipment_id"),
    _input("offers", "offer_id"),
    _input("profiles", "building_type", "quantity", "day_kind"),
    _input("spreads", "figure", "building_type"),
    _input("own_columns", "site_id", "column"),
    _input("weather", "weather_id"),
)
INPUT_NAMES = tuple(each.table for each in INPUTS)
