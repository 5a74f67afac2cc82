"""The command line: read words, call the rooms, print what they say.

Nothing is computed here. Heavy parts are loaded inside the commands, so that `--help` comes at once.
Results go to standard output, everything else (progress, messages, refusals) to standard error.

Exit codes, which scripts may rely on:

    0    done
    1    refused, with a message saying what, where and what to do; nothing was changed
    2    the words on the command line were not understood
    3    done, but the weather file looks suspicious (`weather check`)
    70   a fault of the program itself
    130  stopped with Ctrl-C
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextvars import copy_context
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from mulchwright.cli.arguments import AsJson, BookPath
from mulchwright.cli.output import forecast_in, in_plan_light, print_json, progress_bar, read_book, say
from mulchwright.cli.plan import plan_app
from mulchwright.cli.stores import add_stores
from mulchwright.cli.weather import weather_app
from mulchwright.errors import InputError, MulchwrightError
from mulchwright.services.clock import today_in

if TYPE_CHECKING:
    from mulchwright.garden import Garden


DONE, REFUSED, WRONG_WORDS, SUSPICIOUS, FAULT, STOPPED = 0, 1, 2, 3, 70, 130


TRACEBACK_VARIABLE = "MULCHWRIGHT_TRACEBACK"


FIRST_PORT = 8620


EPILOG = (
    "Exit codes: 0 done; 1 refused, with a message, and nothing was changed; 2 command not understood; "
    "3 done, but a weather file looks suspicious; 70 a bug in the program; 130 stopped."
)


app = typer.Typer(
    name="mulchwright",
    help="Plan, build, tend and pick edible-mushroom beds in the mulch of a food garden.\n\n"
    "A garden lives in one file, the garden book. Start with: mulchwright demo demo.garden",
    epilog=EPILOG,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


app.add_typer(weather_app, name="weather")


app.add_typer(plan_app, name="plan")


add_stores(app)


Port = Annotated[
    int,
    typer.Option(min=0, max=65535, metavar="N", help="Port to serve on; 0 picks a free one."),
]


NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Serve it without opening a browser.")]


def _show_version(wanted: bool) -> None:
    if wanted:
        from mulchwright.version import __version__

        print(f"mulchwright {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version and stop."),
    ] = False,
) -> None:
    pass


@app.command()
def demo(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Where to write the demo garden book.", show_default=False)
    ],
    no_open: Annotated[bool, typer.Option("--no-open", help="Write the book without opening it.")] = False,
    port: Port = FIRST_PORT,
    no_browser: NoBrowser = False,
    as_json: AsJson = False,
) -> None:
    """Make a demo garden and open it.

    The garden is made up; its weather is a real station's. A file that is there already is never touched.
    """
    from mulchwright.book import create_book
    from mulchwright.book.demo import demo_garden

    garden, series = demo_garden()
    create_book(file, garden, series)
    if as_json:
        print_json({"book": str(file), "patches": len(garden.patches), "weather_days": series.days})
    else:
        say(f"The demo garden was written to {file}.")
    if not no_open:
        _serve(file, port=port, browser=not no_browser)


@app.command(name="open")
def open_(
    file: BookPath,
    port: Port = FIRST_PORT,
    no_browser: NoBrowser = False,
    home_network: Annotated[
        bool,
        typer.Option(
            "--home-network", help="Also let phones in your home network in, once paired with a printed code."
        ),
    ] = False,
    home_address: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS",
            help="Which of this computer's addresses, such as 192.168.1.20.",
            show_default=False,
        ),
    ] = "",
) -> None:
    """Open a garden book in the browser; Ctrl-C closes it.

    Only this computer can see it, unless --home-network lets paired phones in. It is plain http: others in
    the same network can read along. Never is it offered to the open internet.
    """
    if home_address and not home_network:
        raise InputError(
            "--home-address goes with --home-network; give both, or neither.", field="home_address"
        )
    from mulchwright.web import serve

    serve(file, port, not no_browser, home_network=home_network, home_at=home_address)


@app.command()
def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Where to save the new garden book.", show_default=False)
    ],
    town: Annotated[
        str,
        typer.Option(
            metavar="TOWN",
            help='Your town, such as "Burlington, Vermont": place, units and climate follow from it.',
            show_default=False,
        ),
    ] = "",
    port: Port = FIRST_PORT,
    no_browser: NoBrowser = False,
) -> None:
    """Start your own garden in the browser, step by step.

    The book is made with the first step, the place; with --town that step is done. A file that is there
    already is never touched: open it.
    """
    if file.exists() or file.is_symlink():
        raise InputError(f"{file} exists already. To go on with it: mulchwright open {file}")
    if not file.absolute().parent.is_dir():
        raise InputError(f"There is no folder {file.absolute().parent}; make it first.")
    if town.strip():
        _begin_in(town, file)
    _serve(file, port=port, browser=not no_browser, new=not town.strip())


def _begin_in(town: str, file: Path) -> None:
    """Make the book of a garden in a town, and say what was taken for it."""
    from mulchwright.book import create_book
    from mulchwright.garden import Garden
    from mulchwright.places import at_town, one_town
    from mulchwright.units import show_length

    chosen = one_town(town)
    found = at_town(chosen)
    create_book(file, Garden(found.place, units=found.units, normals=found.normals))
    climate = "climate from a reanalysis" if found.normals else "no climate known"
    say(
        f"{chosen.name}, {chosen.where}: elevation about "
        f"{show_length(found.place.elevation_m, found.units.value)}, {found.place.timezone}, {climate}."
    )


def _serve(file: Path, *, port: int, browser: bool, new: bool = False) -> None:
    from mulchwright.web import serve

    serve(file, port=port, open_browser=browser, new=new)


@app.command()
def outlook(
    book: BookPath,
    members: Annotated[
        int | None,
        typer.Option(
            min=20, max=5000, metavar="N", help="How many possible seasons to compute.  [default: 512]"
        ),
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(min=0, metavar="N", help="Draw other seasons; the same seed gives the same figures."),
    ] = None,
    from_day: Annotated[
        datetime | None,
        typer.Option("--from", formats=["%Y-%m-%d"], metavar="DATE", help="First day to report, 2026-04-15."),
    ] = None,
    days: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="How many days to report.  [default: to a year from today]"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Forecast each bed: spawn run, first picking, crop and water.

    Ranges over many possible weathers. The JSON is described in docs/outlook.md.
    """
    from mulchwright import almanac
    from mulchwright.services.learning_cache import learning_cache
    from mulchwright.trade import load_trade

    garden, series = read_book(book)
    trade = load_trade()
    with progress_bar("Looking ahead") as progress:
        result = almanac.outlook(
            in_plan_light(garden, series),
            series,
            trade,
            today=today_in(garden),
            start=from_day.date() if from_day else None,
            days=days,
            members=members or almanac.DEFAULT_MEMBERS,
            forecast=forecast_in(book),
            seed=almanac.DEFAULT_SEED if seed is None else seed,
            progress=progress,
            memory=almanac.Memory(cache=learning_cache()),
        )
    if as_json:
        print_json(result.as_json())
    else:
        from mulchwright.cli.printing import print_outlook

        print_outlook(result, garden, trade)


@app.command()
def trade(
    table: Annotated[
        str | None,
        typer.Argument(
            metavar="[TABLE]", help="Which table; without it, the list of tables.", show_default=False
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show the tables of species, woods and materials.

    Each figure stands with its source, and with how well it is known.
    """
    from mulchwright.trade import load_trade
    from mulchwright.trade.report import TABLES, table_rows

    known = load_trade()
    names = tuple(TABLES)
    if table is None:
        sizes = [{"table": name, "rows": len(table_rows(known, name))} for name in names]
        if as_json:
            print_json(sizes)
        else:
            from mulchwright.cli.printing import print_rows

            print_rows("Tables", sizes)
            say("To see one: mulchwright trade TABLE")
        return
    if table not in names:
        raise InputError(f"There is no table {table!r}. The tables: {', '.join(names)}.", field="table")
    rows = table_rows(known, table)
    if as_json:
        print_json(rows)
    else:
        from mulchwright.cli.printing import print_rows

        print_rows(table, rows)


@app.command()
def export(
    book: BookPath,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.json", help="The file to write; - prints it instead.", show_default=False
        ),
    ],
    photos: Annotated[
        bool, typer.Option("--photos", help="Include the photos, as text; they make the file large.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Write a whole garden book as readable JSON. A file that is there already is never touched.

    What the file does not hold is said: photos, unless asked for, and what belongs to this machine.
    """
    from mulchwright.book import export_json, json_text, open_book, write_export

    with open_book(book, read_only=True) as opened:
        whole = export_json(opened, with_photos=photos)
    if str(file) == "-":
        sys.stdout.write(json_text(whole) + "\n")
        return
    write_export(file, whole)
    if as_json:
        print_json({"file": str(file), "bytes": file.stat().st_size, "left_out": whole["left_out"]})
    else:
        say(f"{book} was written to {file}. Left out: {', '.join(whole['left_out'])}.")


@app.command(name="import")
def import_(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="A garden written by hand (.toml) or by export (.json).", show_default=False
        ),
    ],
    book: Annotated[
        Path, typer.Argument(metavar="BOOK", help="The garden book to make.", show_default=False)
    ],
    as_json: AsJson = False,
) -> None:
    """Make a garden book from a text file.

    It takes a garden written by hand (.toml) and what export wrote (.json). How to write one by hand is
    told in docs/garden-file.md. A book that is there already is never touched.
    """
    from mulchwright.book import create_book, read_whole_file

    whole = read_whole_file(file)
    garden, series = whole.garden, whole.series
    create_book(book, **whole._asdict())
    if as_json:
        print_json(
            {
                "book": str(book),
                "patches": len(garden.patches),
                "log_entries": len(garden.log),
                "weather_days": series.days if series else 0,
            }
        )
    else:
        patches = "1 patch" if len(garden.patches) == 1 else f"{len(garden.patches)} patches"
        say(f"{book} was made from {file}: {patches}, {len(garden.log)} logbook entries.")
        if garden.checks:
            _say_what_checks_open_nothing(garden)


def _say_what_checks_open_nothing(garden: Garden) -> None:
    from datetime import UTC

    from mulchwright.keep import result_among
    from mulchwright.trade import load_trade

    trade, now, shut = load_trade(), datetime.now(UTC), 0
    if garden.stands_at is not None:
        now = datetime.combine(garden.stands_at + timedelta(days=1), time(), UTC)
    built = {patch.key: patch.built_on for patch in garden.patches}
    for check in garden.checks:
        try:
            shut += not result_among(
                check, garden.checks, trade, log=garden.log, now=now, built_on=built.get(check.patch)
            ).passed
        except InputError:  # made for features or a species that the tables do not know
            shut += 1
    if shut:
        which = "1 identity check opens" if shut == 1 else f"{shut} identity checks open"
        say(
            f"{which} nothing yet: a look is unfinished or found a difference, the spore print has no "
            "color or was read too soon, or nobody else looked at a first crop. The page of each pick says "
            "what is missing."
        )


def main(words: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; nothing escapes as a traceback."""
    return copy_context().run(_main, words)  # how it writes days ends with it


def _main(words: Sequence[str] | None) -> int:
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal in another encoding must not stop a degree sign
            stream.reconfigure(errors="replace")
    try:
        result: Any = app(
            list(words) if words is not None else None, prog_name="mulchwright", standalone_mode=False
        )
        sys.stdout.flush()
        if result == STOPPED:
            say("mulchwright: stopped.")
        return result if isinstance(result, int) else DONE
    except MulchwrightError as error:
        return _stopped_by(error, f"mulchwright: {error}", REFUSED)
    except typer.Exit as done:
        return done.exit_code
    except (typer.Abort, KeyboardInterrupt) as error:
        return _stopped_by(error, "mulchwright: stopped.", STOPPED)
    except BrokenPipeError:
        return _unheard()
    except SystemExit as ended:
        if isinstance(ended.__context__, BrokenPipeError):  # how the parser passes it on
            return _unheard()
        raise
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        return _stopped_by(error, f"mulchwright: {where}{error.strerror or error}.", REFUSED)
    except Exception as error:
        shown = getattr(error, "show", None)
        if shown is not None and hasattr(error, "exit_code"):  # words that the parser did not understand
            shown()
            return int(error.exit_code)
        return _stopped_by(
            error,
            f"mulchwright: this is a bug ({type(error).__name__}: {error}). "
            "Your garden book is intact: every change is saved completely or not at all.\n"
            "Please report it as CONTRIBUTING.md says, with your command and what it prints after "
            f"{TRACEBACK_VARIABLE}=1.",
            FAULT,
        )


def _unheard() -> int:
    """Whoever read our output has heard enough (`| head`): say nothing, and leave no broken pipe."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE


def _stopped_by(error: BaseException, words: str, code: int) -> int:
    if os.environ.get(TRACEBACK_VARIABLE) == "1":
        import traceback

        traceback.print_exception(error)
    say(words)
    return code
