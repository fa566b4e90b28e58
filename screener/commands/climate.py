"""Commands about the weather that comes with the package."""

from typing import TYPE_CHECKING, Annotated

import typer

from screener.commands.app import Json, Quiet, app, errors_in_words, in_us_units, notes, print_frame

if TYPE_CHECKING:
    pass

climate_app = typer.Typer(help="The weather stations that come with the package.", no_args_is_help=True)
app.add_typer(climate_app, name="climate")
STATION = ["station", "name", "state", "climate_zone", "latitude", "longitude", "elevation_m"]
STATION += ["dry_bulb_04_c", "dew_point_04_c", "heating_996_c"]


@climate_app.command("list")
def climate_list(
    state: Annotated[str | None, typer.Option(help="Two letters, such as FL.")] = None,
    zone: Annotated[str | None, typer.Option(help="Climate zone, such as 2A.")] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """List the stations, all or those of a state or a climate zone."""
    import polars as pl

    from screener import climate

    with errors_in_words():
        found = climate.stations()
        for column, wanted in (("state", state), ("climate_zone", zone)):
            if wanted is not None:
                found = found.filter(pl.col(column) == wanted.strip().upper())
        print_frame(
            found if as_json else found.select(STATION),
            as_json,
            "no station matches; run `screener climate list` for all of them",
        )


@climate_app.command("show")
def climate_show(
    station: Annotated[str, typer.Argument(help="Station number, as in `screener climate list`.")],
    units: Annotated[str, typer.Option(help="si or us.")] = "si",
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Show one station's year month by month."""
    from screener import climate
    from screener import units as conversion

    with errors_in_words():
        us = in_us_units(units)
        figures = climate.monthly_figures(station)
        print_frame(conversion.to_us(figures) if us else figures, as_json)


@climate_app.command("find")
def climate_find(
    place: Annotated[
        list[str],
        typer.Argument(help='Postal code (33101), "latitude,longitude", Miami FL, a state or climate zone (2A).'),
    ],
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Find the station for a place, with its distance."""
    from screener import climate

    with errors_in_words():
        found = climate.find(" ".join(place))
        print_frame(found if as_json else found.drop("climate_note"), as_json)
        notes([] if as_json else found["climate_note"].drop_nulls().to_list(), quiet)
