"""`mulchwright weather`: look at a station's file, bring it into a garden book, and keep the record up."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from mulchwright.cli.arguments import AsJson, BookPath
from mulchwright.cli.station_file import StationOptions, StationReader, with_station_options
from mulchwright.errors import InputError, SourceError
from mulchwright.units import write_days_for

REFUSED, SUSPICIOUS = 1, 3

weather_app = typer.Typer(help="Check and import weather files.", no_args_is_help=True, rich_markup_mode=None)

StationFile = Annotated[
    Path, typer.Argument(metavar="FILE", help="The station's file, CSV.", show_default=False)
]
Anyway = Annotated[bool, typer.Option("--anyway", help="Import it although something looks suspicious.")]


@weather_app.command()
@with_station_options
def check(
    file: StationFile,
    options: StationOptions,
    latitude: Annotated[
        float | None,
        typer.Option("--latitude", min=-90, max=90, metavar="DEGREES", help="For more checks."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say what a station's file holds, what is missing and what looks wrong.

    GHCN-Daily files are known by their first row; of any other CSV name the columns. Nothing is changed. Exit
    code 1: it cannot be taken as it is; 3: it can, and something looks suspicious.
    """
    report = StationReader(file, options, None).report(latitude)
    if as_json:
        from mulchwright.cli.output import print_json

        print_json(report.as_json())
    else:
        from mulchwright.cli.printing import print_station_report

        print_station_report(report)
    if report.faults:
        raise typer.Exit(REFUSED)
    if report.suspicions:
        raise typer.Exit(SUSPICIOUS)


@weather_app.command(name="import")
@with_station_options
def import_(
    book: BookPath,
    file: StationFile,
    options: StationOptions,
    anyway: Anyway = False,
    as_json: AsJson = False,
) -> None:
    """Put a station's record into a garden book, in place of the one there.

    The book remembers the columns, so that the next file of the same make needs no options. A file with
    impossible figures is refused; one that looks suspicious is taken only with --anyway.
    """
    from mulchwright.book import open_book
    from mulchwright.services.forecast_log import MODEL_DAYS

    with open_book(book) as opened:
        reader = StationReader(file, options, opened.series_mapping())
        report = reader.report(opened.garden().place.latitude_deg)
        series = reader.series()
        if report.suspicions and not anyway:
            doubts = "\n".join(f"  {doubt}" for doubt in report.suspicions)
            raise SourceError(
                f"{file.name} looks suspicious, and nothing was imported:\n{doubts}\n"
                "Name the right unit or column; or, if it is right as it stands, add --anyway."
            )
        opened.save_series(series, reader.to_remember, settings={MODEL_DAYS: None})
    if as_json:
        from mulchwright.cli.output import print_json

        print_json({"book": str(book), **report.as_json()})
    else:
        from mulchwright.cli.output import say
        from mulchwright.weather import spell_out

        gaps = f"; {report.missing_days} of them lack a figure" if report.missing_days else ""
        say(
            f"{book} now has {series.days} days of weather, {spell_out(series.start)} to "
            f"{spell_out(series.end)}{gaps}."
        )


def _shown(system: str) -> Any:
    from mulchwright.services.reading_entry import show_figure

    return show_figure(system)


@weather_app.command()
def append(
    book: BookPath,
    file: StationFile,
    anyway: Anyway = False,
    as_json: AsJson = False,
) -> None:
    """Carry the record of a garden book on with a station's file, read as the last one was.

    Where both have a day, the new file counts; you see what differs.
    """
    from mulchwright.book import open_book
    from mulchwright.cli.output import print_json, say
    from mulchwright.services.weather_files import append_bytes, append_words

    try:
        body = file.read_bytes()
    except OSError as error:
        raise SourceError(f"{file} cannot be read ({error.strerror}). Check its name.") from None
    report = append_bytes(book, file.name, body, anyway=anyway)
    if as_json:
        print_json(
            {
                "first": report.first.isoformat(),
                "last": report.last.isoformat(),
                "added": report.added,
                "filled": report.filled,
                "overlapping": report.overlapping,
                "gap_days": report.gap_days,
                "same_station": report.same_station,
                "differences": [
                    {"day": one.day.isoformat(), "quantity": one.quantity, "old": one.old, "new": one.new}
                    for one in report.differences
                ],
            }
        )
        return
    with open_book(book) as opened:
        system = opened.garden().units.value
    say(append_words(report, _shown(system)))


@weather_app.command()
def reading(
    book: BookPath,
    day: Annotated[str, typer.Argument(metavar="DAY", help="The day it fell on, as 2031-06-10.")],
    rain: Annotated[
        str | None, typer.Option("--rain", metavar="DEPTH", help="Rain of the day, as 12.5 or 1/2 in.")
    ] = None,
    low: Annotated[
        str | None, typer.Option("--low", metavar="TEMPERATURE", help="Lowest temperature of the day.")
    ] = None,
    high: Annotated[
        str | None, typer.Option("--high", metavar="TEMPERATURE", help="Highest temperature of the day.")
    ] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Delete the reading of this day.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write down what your own gauge and thermometer told for a day; it outranks the station.

    Bare figures are in the book's units. What is left out stays as it was written down before.
    """
    from datetime import date

    from mulchwright.book import open_book
    from mulchwright.cli.output import print_json, say
    from mulchwright.services.clock import today_in
    from mulchwright.services.reading_entry import read_reading

    with open_book(book) as opened:
        garden = opened.garden()
        today = today_in(garden)
        write_days_for(garden.units.value)
        if remove:
            try:
                said = opened.remove_reading(date.fromisoformat(day), today=today).what
            except ValueError:
                raise InputError(f"{day!r} is not a date; write it like 2031-06-10.", field="day") from None
        else:
            typed = {"day": day, "rain": rain or "", "low": low or "", "high": high or ""}
            found, errors = read_reading(typed, garden.units.value, today)
            if found is None:
                field, words = next(iter(errors.items()))
                raise InputError(words, field=field)
            said = opened.put_reading(found, today=today).what
    if as_json:
        print_json({"day": day, "done": said})
    else:
        say(f"{said[:1].upper()}{said[1:]}.")


@weather_app.command()
def fetch(
    book: BookPath,
    address: Annotated[
        str | None, typer.Option("--address", metavar="URL", help="Daily record, CSV of a GHCN-Daily layout.")
    ] = None,
    forecast_address: Annotated[
        str | None, typer.Option("--forecast-address", metavar="URL", help="Forecast, the plain JSON.")
    ] = None,
    station: Annotated[
        str | None, typer.Option("--station", metavar="NAME", help="What {station} stands for.")
    ] = None,
    units: Annotated[
        str | None,
        typer.Option(
            "--ghcn-units", metavar="UNIT", help="Where the file does not show it: tenths, metric or us."
        ),
    ] = None,
    turn: Annotated[
        bool | None, typer.Option("--on/--off", help="Turn fetching on or off.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Ask a server for the days the record lacks; off until --on was said on this computer.

    A book that was brought from elsewhere with fetching on asks nobody until --on was said here too.

    Without --on, a changed address is only shown as it would be asked, with what it reveals. No account and
    no key is ever used. The addresses may hold {station}, {first}, {last}, {year}, {latitude}, {longitude}.
    """
    from dataclasses import replace
    from datetime import UTC, datetime

    from mulchwright.book import open_book
    from mulchwright.cli.output import print_json, say
    from mulchwright.services import weather_consent, weather_feed
    from mulchwright.services.clock import today_in

    given = {
        "station_address": address,
        "forecast_address": forecast_address,
        "station": station,
        "units": units,
    }
    changed: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    before = weather_feed.source_of(book)
    # A new address is off until it was seen, as on the page.
    source = replace(before, **changed, on=before.on and not changed if turn is None else turn)
    if turn:
        weather_consent.switch_on(book, source)
    elif turn is False or source != before:
        weather_feed.save_source(book, source)
    with open_book(book) as opened:
        garden, series = opened.garden(), opened.series()
    write_days_for(garden.units.value)
    today = today_in(garden)
    addresses: tuple[str, ...] = ()
    if source.named:
        first, last = weather_feed.days_to_ask(garden, series, today)
        addresses = weather_feed.asked_address(source, garden, first, last)
    result = weather_feed.fetch_now(book, today, datetime.now(UTC)) if source.on else None
    if as_json:
        print_json(
            {
                "on": source.on,
                "addresses": list(addresses),
                "well": result.well if result else None,
                "words": result.words if result else "",
                "not_before": result.not_before.isoformat() if result and result.not_before else None,
            }
        )
    elif result is not None:
        say(result.words)
    elif not addresses:
        say(
            "No server is named, so nothing is sent. Name one with --address or --forecast-address, or "
            "choose a public service with mulchwright weather service."
        )
    else:
        listed = "\n".join(f"  {one}" for one in addresses)
        say(f"Off: nothing was sent. With --on, exactly this would be sent:\n{listed}")
        say(weather_feed.what_is_sent(source))
    if result is not None and not result.well:
        raise typer.Exit(REFUSED)


@weather_app.command()
def service(
    book: BookPath,
    services: Annotated[
        str | None,
        typer.Argument(metavar="[SERVICES]", help="Which to use, as listed without it.", show_default=False),
    ] = None,
    decimals: Annotated[
        str | None,
        typer.Option("--decimals", metavar="N", help="Round coordinates to 1 decimal (10 km) or 2 (1 km)."),
    ] = None,
    contact: Annotated[
        str | None,
        typer.Option("--contact", metavar="TEXT", help="E-mail or web address, sent with each request."),
    ] = None,
    turn: Annotated[
        bool | None, typer.Option("--on/--off", help="Turn fetching on or off.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Choose public weather services for a garden; with --on they are asked once, right away.

    Without SERVICES it lists what is offered in the garden's country. Nothing is sent before --on was said on
    this computer; until then it only shows what would be sent. mulchwright weather fetch asks again, but no
    service more than once an hour.
    """
    from dataclasses import replace
    from datetime import UTC, datetime

    from mulchwright.book import open_book
    from mulchwright.cli.output import print_json, say
    from mulchwright.services import weather_consent, weather_feed, weather_offers
    from mulchwright.services.clock import today_in

    before = weather_feed.source_of(book)
    source = replace(
        before,
        services=before.services if services is None else services,
        decimals=before.decimals if decimals is None else decimals,
        contact=before.contact if contact is None else contact,
    )
    if turn and not source.services:
        raise InputError(
            "Name the services first; run this command without --on to see them.", field="services"
        )
    if turn:
        weather_consent.switch_on(book, source)
    elif turn is False or source != before:
        weather_feed.save_source(book, replace(source, on=False))
    source = weather_feed.source_of(book)
    with open_book(book) as opened:
        garden, series = opened.garden(), opened.series()
    write_days_for(garden.units.value)
    today = today_in(garden)
    offered = weather_offers.offers(garden, series, today, source)
    result = weather_feed.fetch_now(book, today, datetime.now(UTC)) if turn else None
    if as_json:
        print_json(
            {
                "on": source.on,
                "services": source.services,
                "offered": [
                    {
                        "services": offer.key, "name": offer.name, "addresses": list(offer.addresses),
                        "sent": list(offer.sent), "needs_contact": offer.lacks_contact,
                    }
                    for offer in offered
                ],
                "well": result.well if result else None,
                "words": result.words if result else "",
            }
        )  # fmt: skip
    elif result is not None:
        say(result.words)
        for facts in weather_offers.credits_in(book):
            say(f"{facts.credit} ({facts.credit_link}; {facts.license})")
    else:
        chosen = [offer for offer in offered if offer.key == source.services]
        for offer in chosen if services is not None else offered:
            say(f"{offer.key}: {offer.name}")
            say("\n".join(f"  {address}" for address in offer.addresses))
            say("\n".join(f"  {sentence}" for sentence in offer.sent))
        say("On." if source.on else "Off: nothing was sent. Add SERVICES and --on to ask.")
    if result is not None and not result.well:
        raise typer.Exit(REFUSED)
