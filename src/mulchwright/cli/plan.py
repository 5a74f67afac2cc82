"""`mulchwright plan`: carry the plan to other programs and to paper, and bring a plan in."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from mulchwright.cli.arguments import AsJson, BookPath
from mulchwright.errors import InputError

plan_app = typer.Typer(help="Export, import and print the plan.", no_args_is_help=True, rich_markup_mode=None)
GEOJSON, SVG, PNG = (".geojson", ".json"), ".svg", ".png"


class Paper(StrEnum):
    """The sheets a plan can be printed on."""

    A4 = "a4"
    LETTER = "letter"


@plan_app.command()
def export(
    book: BookPath,
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="The file to write: .geojson, .svg or .png.", show_default=False),
    ],
    scale: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Draw at 1:N, as 50 or 100.  [default: the largest that fits]"),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="The sheet to draw on.")] = Paper.A4,
    landscape: Annotated[
        bool | None,
        typer.Option("--landscape/--portrait", help="Portrait or landscape.  [default: as it fits]"),
    ] = None,
    dots: Annotated[int, typer.Option(min=50, max=600, metavar="N", help="Dots per inch of a .png.")] = 200,
    as_json: AsJson = False,
) -> None:
    """Write the plan as GeoJSON for other programs, or as a drawing at a true scale for printing.

    The name's ending says which. GeoJSON is placed by the garden's latitude, longitude and north. A drawing
    keeps its scale when it is printed at 100 %. A file that is there already is never touched.
    """
    from mulchwright.book import export_geojson, json_text, open_book, write_new_file

    suffix = file.suffix.lower()
    if suffix not in (*GEOJSON, SVG, PNG):
        raise InputError(
            f"{file.name} has no known ending; let its name end in .geojson, .svg or .png.",
            field="file",
        )
    with open_book(book, read_only=True) as opened:
        garden = opened.garden()
    fields: dict[str, object] = {"book": str(book), "file": str(file)}
    if suffix in GEOJSON:
        collection = export_geojson(garden)
        content = (json_text(collection) + "\n").encode("utf-8")
        fields["features"] = len(collection["features"])
        words = f"{len(collection['features'])} features of {book} were written to {file}."
    else:
        from mulchwright.sheets import lay_out_plan, plan_png, plan_svg

        sheet = lay_out_plan(garden, scale=scale, paper=paper.value, landscape=landscape)
        svg = plan_svg(garden, scale=scale, paper=paper.value, landscape=landscape)
        content = svg.encode("utf-8") if suffix == SVG else plan_png(svg, dots_per_inch=dots)
        fields |= {"scale": sheet.scale, "width_mm": sheet.width_mm, "height_mm": sheet.height_mm}
        words = (
            f"The plan was drawn at 1:{sheet.scale} on {sheet.width_mm:g} × {sheet.height_mm:g} mm: {file}. "
            "Print it at 100 %, and check the bar with a ruler."
        )
    write_new_file(file, content)
    if as_json:
        from mulchwright.cli.output import print_json

        print_json(fields)
    else:
        from mulchwright.cli.output import say

        say(words)


@plan_app.command(name="import")
def import_(
    book: BookPath,
    file: Annotated[
        Path, typer.Argument(metavar="FILE.geojson", help="The GeoJSON file.", show_default=False)
    ],
    as_json: AsJson = False,
) -> None:
    """Bring a plan in from a GeoJSON file.

    A feature with the kind and key of something in the garden changes it; any other adds to the garden;
    nothing is taken out. Features of kinds that are not known are named and left out. A file with a fault
    changes nothing.
    """
    from mulchwright.book import import_geojson, open_book, text_of
    from mulchwright.trade import load_trade

    with open_book(book) as opened:
        garden = opened.garden()
        done = import_geojson(text_of(file), garden, trade=load_trade(), file_name=file.name)
        if done.garden != garden:
            opened.save_garden(done.garden)
    if as_json:
        from mulchwright.cli.output import print_json

        print_json(
            {
                "book": str(book),
                "added": done.added,
                "changed": done.changed,
                "unchanged": done.unchanged,
                "left_out": done.left_out,
            }
        )
        return
    from mulchwright.cli.output import say

    for line in done.left_out:
        say(f"Left out: {line}.")
    say(f"{book}: {len(done.added)} added, {len(done.changed)} changed, {done.unchanged} as they were.")
