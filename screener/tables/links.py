"""What one table says about another, and columns of one row about each other."""

from collections.abc import Callable, Mapping
from difflib import get_close_matches

import polars as pl

from screener import calendar
from screener.contracts.hour import WITHOUT_EQUIPMENT
from screener.errors import no_faults
from screener.tables.checking import CheckedTable, row_faults

NO_MACHINE = (
    "only changes how equipment is run; name the equipment itself, and in columns of the site how it is run: supply_fan, "
    "reheat_lockout_dew_point_c, the humidity limit, or ventilation in the profiles table"
)
MANY = 12  # names listed in a message
SUGGESTIONS = 100  # misspelt names that get a suggestion, searched among so many known ones times ten
UNREADABLE = {  # rule and message
    "open_days": (
        "not days",
        "not days of the week; write names such as Mon-Fri, Sun or a 1 or 0 a day from Monday on, 1111101",
    ),
    "closed_months": ("not months", "not months; write them by number: 7-8 or 12-1, or 7 to 8, or none"),
}
PLACES = ["postal_code", "latitude", "longitude", "climate_zone", "weather_file", "state"]


def unknown_references(
    table: CheckedTable, known: Mapping[str, pl.DataFrame], rejected: Mapping[str, list[str]]
) -> pl.DataFrame:
    """Cells that name a row of another table which does not exist, or which was itself rejected.

    `known` lacks the tables that could not be read: nothing is said of references to them.
    """
    faults = [no_faults()]
    for key in table.contract.foreign_keys:
        if key.reference not in known:
            continue
        names = known[key.reference][key.reference_column].drop_nulls()
        given = table.values[key.column]
        bad = given.is_in(rejected.get(key.reference, []))
        lost = given.is_not_null() & ~given.is_in(names.implode()) & ~bad
        if lost.any():
            faults.append(_unknown(table, key.column, key.reference, lost, names.to_list()))
        if bad.any():
            message = f"its row of the {key.reference} table is rejected; correct that row first"
            frame, text = table.told(key.column).filter(bad), pl.col(f"{key.column}:text")
            faults.append(row_faults(table.contract.name, frame, key.column, "rejected reference", text, message))
    return pl.concat(faults)


def unknown_strategies(table: CheckedTable, known: pl.DataFrame) -> pl.DataFrame:
    """Rows of a strategies table for strategies the program does not know."""
    names, given = known["strategy"], table.values["strategy"]
    lost = given.is_not_null() & ~given.is_in(names.implode())
    return _unknown(table, "strategy", "strategies", lost, names.to_list())


def advice_as_equipment(table: CheckedTable) -> pl.DataFrame:
    """Cells that call a change of how equipment is run the equipment itself."""
    faults = [no_faults()]
    for column in ("current_strategy", "strategy"):
        if column not in table.values.columns:
            continue
        frame = table.told(column).filter(pl.col(column).is_in(WITHOUT_EQUIPMENT))
        faults.append(
            row_faults(table.contract.name, frame, column, "no equipment", pl.col(f"{column}:text"), NO_MACHINE)
        )
    return pl.concat(faults)


def new_types_without_base(table: CheckedTable, shipped: pl.DataFrame) -> pl.DataFrame:
    """Rows of a building types table for a new type that starts from none."""
    names = shipped["building_type"]
    new = table.told("building_type", "based_on").filter(
        pl.col("based_on").is_null() & ~pl.col("building_type").is_in(names.implode())
    )
    message = f"a new building type; name the type it starts from in based_on: {', '.join(names)}"
    value = pl.col("building_type:text")
    return row_faults("building_types", new, "building_type", "missing value", value, message)


def _unknown(table: CheckedTable, column: str, reference: str, at: pl.Series, names: list[str]) -> pl.DataFrame:
    """A fault for the rows `at` which a column holds none of the `names`, with the one that looks most alike."""
    lost = table.told(column).filter(at)
    wrong = lost[column].unique(maintain_order=True).to_list()
    searched = names if len(names) <= 10 * SUGGESTIONS else []
    close = [get_close_matches(name, searched, n=1, cutoff=0.75) for name in wrong[:SUGGESTIONS]]
    close += [[]] * (len(wrong) - len(close))
    hints = pl.DataFrame(
        {column: wrong, "hint": [_hint(found, names) for found in close]},
        schema={column: pl.String, "hint": pl.String},
    )
    frame = lost.join(hints, on=column, maintain_order="left")
    message = pl.concat_str(pl.lit(f"not among the {reference}; "), "hint")
    return row_faults(table.contract.name, frame, column, f"unknown {column}", pl.col(f"{column}:text"), message)


def _hint(close: list[str], names: list[str]) -> str:
    if close:
        return f'did you mean "{close[0]}"?'
    if not names:
        return "that table has no good rows"
    more = f" and {len(names) - MANY:,} more" if len(names) > MANY else ""
    return f"it has {', '.join(sorted(names)[:MANY])}{more}"


def site_faults(
    sites: CheckedTable,
    types: pl.DataFrame,
    tariffs: pl.DataFrame,
    periods: pl.DataFrame,
    charges: pl.DataFrame,
    equipment: pl.DataFrame | None,
) -> pl.DataFrame:
    """Sites without a place, with limits or set points that exclude each other, with fuel that has no price, or with
    equipment of another strategy. `equipment` is None where its table could not be read.
    """
    of_type = types.select(
        "building_type",
        *(pl.col(f"{kind}_case_m_per_100_m2").alias(f"{kind}_cases") for kind in ("open", "door")),
        type_source="heating_source",
        type_strategy="current_strategy",
    )
    frame = sites.values.join(of_type, on="building_type", how="left", maintain_order="left")
    source = pl.coalesce("heating_source", "type_source")
    faults = [_places(sites), set_point_faults(sites, types), _calendars(sites)]
    faults.append(_no_racks(frame.with_columns(heating_source=source)))
    faults.append(fuel_faults(frame.with_columns(heating_source=source), tariffs, periods, charges))
    if equipment is not None:
        faults.append(_equipment(frame, equipment))
    return pl.concat(faults)


def _places(sites: CheckedTable) -> pl.DataFrame:
    given = sites.given.select(pl.col(PLACES).is_not_null())
    frame = pl.concat([sites.values.select("row", "site_id"), given], how="horizontal")
    c = pl.col
    nothing = "nothing says where it is; give postal_code, latitude and longitude, climate_zone or weather_file"
    nowhere = frame.filter(~pl.any_horizontal(PLACES))
    half = frame.filter(c("latitude") != c("longitude"))
    missing = pl.when("latitude").then(pl.lit("longitude")).otherwise(pl.lit("latitude"))
    message = pl.concat_str(pl.lit("latitude or longitude stands alone; give "), missing, pl.lit(" too"))
    return pl.concat(
        [
            row_faults("sites", nowhere, "postal_code", "no place", pl.lit(None), nothing),
            row_faults("sites", half, missing, "no place", pl.lit(None), message),
        ]
    )


def _calendars(sites: CheckedTable) -> pl.DataFrame:
    """Open days and closed months that cannot be read, and open days that are not as many as the row says."""
    frame, faults = sites.told("open_days", "open_days_per_week", "closed_months"), []
    readers: Mapping[str, Callable[[str], list[int] | None]] = {
        "open_days": calendar.days,
        "closed_months": calendar.closed_months,
    }
    for column, reader in readers.items():
        wrong = [text for text in frame[column].drop_nulls().unique() if reader(text) is None]
        lost = frame.filter(pl.col(column).is_in(wrong))
        faults.append(row_faults("sites", lost, column, UNREADABLE[column][0], pl.col(column), UNREADABLE[column][1]))
    count = pl.col("open_days").map_elements(_days_a_week, return_dtype=pl.Int64)
    odds = frame.filter((count != pl.col("open_days_per_week")).fill_null(False)).with_columns(count=count)
    own = pl.concat_str(pl.lit("not the number of open_days "), "open_days", pl.lit("; keep one of the two"))
    faults.append(row_faults("sites", odds, "open_days_per_week", "open days", pl.col("open_days_per_week:text"), own))
    return pl.concat(faults)


def closed_month_faults(types: CheckedTable) -> pl.DataFrame:
    """Closed months of building types that cannot be read."""
    column, frame = "closed_months", types.told("closed_months")
    wrong = [text for text in frame[column].drop_nulls().unique() if calendar.closed_months(text) is None]
    lost, name = frame.filter(pl.col(column).is_in(wrong)), types.contract.name
    return row_faults(name, lost, column, UNREADABLE[column][0], pl.col(column), UNREADABLE[column][1])


def _days_a_week(text: str) -> int | None:
    found = calendar.days(text)
    return None if found is None else len({*found} - {calendar.HOLIDAY})


def set_point_faults(table: CheckedTable, types: pl.DataFrame) -> pl.DataFrame:
    """Heating above cooling set point, humidity limit not below the cooling set point, two limits at once.

    `table` is sites or building types; an empty cell counts as the figure of its building type in `types`.
    """
    name = table.contract.name
    columns = ["cooling_setpoint_c", "heating_setpoint_c", "humidity_limit_dew_point_c", "humidity_limit_rh_pct"]
    of_type = types.select(kind_of_type="building_type", **{f"{column}:type": pl.col(column) for column in columns})
    own = table.values
    kind = own["building_type"] if name == "sites" else own.select(pl.coalesce("based_on", "building_type")).to_series()
    cells = table.told(*columns).with_columns(kind=kind)
    frame = cells.join(of_type, left_on="kind", right_on="kind_of_type", how="left", maintain_order="left")
    c = pl.col
    cooling, heating, dew = (pl.when(c(f"{n}:text").is_null()).then(f"{n}:type").otherwise(n) for n in columns[:3])
    dew = pl.when(c("humidity_limit_rh_pct:text").is_null() | c(f"{columns[2]}:text").is_not_null()).then(dew)
    hot = frame.filter((heating > cooling) & _any_given(columns[:2]))
    damp = frame.filter((dew >= cooling) & _any_given([columns[0], columns[2]]))
    both = frame.filter(c(f"{columns[2]}:text").is_not_null() & c(f"{columns[3]}:text").is_not_null())
    against = _against(columns[0])
    found = [
        _pair(name, hot, columns[1], "set points", "heating above", against, "lower the one or raise the other"),
        _pair(name, damp, columns[2], "humidity limit", "dew point not below", against, "it must lie below"),
    ]
    names = pl.concat_str(f"{columns[2]}:name", f"{columns[3]}:name", separator=", ")
    texts = pl.concat_str(f"{columns[2]}:text", f"{columns[3]}:text", separator=" and ")
    found.append(row_faults(name, both, names, "two humidity limits", texts, "one limit is enough; keep one of them"))
    return pl.concat(found)


def _any_given(columns: list[str]) -> pl.Expr:
    return pl.any_horizontal(pl.col(f"{column}:text").is_not_null() for column in columns)


def _against(column: str) -> pl.Expr:
    """The other figure as the user knows it: `cooling_setpoint_f 72`, or the building type's."""
    own = pl.concat_str(f"{column}:name", pl.lit(" "), f"{column}:text")
    assumed = pl.concat_str(pl.lit(f"{column} "), pl.col(f"{column}:type").cast(pl.String), pl.lit(" (building type)"))
    return pl.coalesce(own, assumed)


def _pair(
    table: str, frame: pl.DataFrame, column: str, rule: str, what: str, against: pl.Expr, way_out: str
) -> pl.DataFrame:
    name = pl.coalesce(f"{column}:name", pl.lit(column))
    assumed = pl.concat_str(pl.col(f"{column}:type").cast(pl.String), pl.lit(" (building type)"))
    message = pl.concat_str(pl.lit(f"{what} "), against, pl.lit(f"; {way_out}"))
    return row_faults(table, frame, name, rule, pl.coalesce(f"{column}:text", assumed), message)


def fuel_faults(
    sites: pl.DataFrame, tariffs: pl.DataFrame, periods: pl.DataFrame, charges: pl.DataFrame
) -> pl.DataFrame:
    """Sites (row, site_id, heating_source, tariff_id) that burn fuel on a tariff with months that have no price for it."""
    priced = [rows.filter(pl.col("fuel_price_per_kwh").is_not_null()) for rows in (periods, charges)]
    monthly = calendar.by_month(pl.concat(rows.select("tariff_id", "months") for rows in priced))
    all_year = monthly.group_by("tariff_id").agg(pl.col("month").n_unique()).filter(pl.col("month") == 12)["tariff_id"]
    unpriced = tariffs.filter(pl.col("fuel_price_per_kwh").is_null() & ~pl.col("tariff_id").is_in(all_year.implode()))[
        "tariff_id"
    ]
    frame = sites.filter((pl.col("heating_source") == "fuel") & pl.col("tariff_id").is_in(unpriced.implode()))
    message = "heated by fuel, which this tariff has no price for; add fuel_price_per_kwh or give heating_source"
    return row_faults("sites", frame, "tariff_id", "no fuel price", pl.col("tariff_id"), message)


def _no_racks(sites: pl.DataFrame) -> pl.DataFrame:
    """Sites, beside the cases of their building type, that are heated by racks they have none of."""
    kinds = ("open", "door")
    cases = pl.sum_horizontal(pl.coalesce(f"{kind}_case_length_m", f"{kind}_cases").fill_null(0.0) for kind in kinds)
    frame = sites.filter((pl.col("heating_source") == "reclaimed") & (cases <= 0))
    message = (
        "heated by the racks of its display cases, but it has no cases; "
        "give open_case_length_m or door_case_length_m, or another heating_source"
    )
    return row_faults("sites", frame, "heating_source", "no racks", pl.col("heating_source"), message)


def _equipment(sites: pl.DataFrame, equipment: pl.DataFrame) -> pl.DataFrame:
    """Sites, beside the `type_strategy` of their building type, with equipment that serves another than today's."""
    serves = equipment.select("equipment_id", serves="strategy")
    frame = sites.join(serves, on="equipment_id", maintain_order="left")
    used = pl.coalesce("current_strategy", "type_strategy")
    own = pl.when(pl.col("current_strategy").is_null()).then(pl.lit(" (building type)")).otherwise(pl.lit(""))
    message = pl.concat_str(
        pl.lit("serves "),
        "serves",
        pl.lit(", but the site's strategy is "),
        used,
        own,
        pl.lit("; correct equipment_id or current_strategy"),
    )
    frame = frame.filter(pl.col("serves") != used)
    return row_faults("sites", frame, "equipment_id", "equipment of another strategy", pl.col("equipment_id"), message)
