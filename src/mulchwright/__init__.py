"""Mulchwright: plan, build, tend and pick edible-mushroom beds in the mulch of a food garden.

For other Python programs, the few names in `__all__`:

`open_book(path)`
    An open garden book, to be used with `with`: `Book.garden()` reads its garden, `Book.save_garden(garden)`
    writes it back. `read_only=True` never writes.
`create_book(path, garden, series)`
    Writes a new book; a file that is there already is never touched.
`outlook(book)`
    What each bed is likely to do, as `Outlook`; `Outlook.as_json()` is described in docs/outlook.md.
`demo_garden()`
    A made-up garden and a real station's weather, to try things on.
`Book`, `Garden`, `Outlook`
    What these hand out, for annotations. Nouns are frozen: change one with `dataclasses.replace`.
`MulchwrightError`, `BookError`, `InputError`
    What they raise; the first is the base of the others.

Everything else may change from release to release. For example, with the demo garden in a new book:

>>> import dataclasses, pathlib, tempfile
>>> import mulchwright
>>> folder = tempfile.TemporaryDirectory()
>>> path = pathlib.Path(folder.name, "demo.garden")
>>> mulchwright.create_book(path, *mulchwright.demo_garden())
>>> with mulchwright.open_book(path) as book:
...     garden = book.garden()
...     revision = book.save_garden(dataclasses.replace(garden, hose_litres_per_minute=15.0))
...     outlook = mulchwright.outlook(book, members=20)
>>> outlook.today == garden.stands_at
True
>>> outlook.patches[0].patch.name
'Quince walk'
>>> folder.cleanup()
"""

from typing import TYPE_CHECKING, Any

from mulchwright.version import __version__

if TYPE_CHECKING:
    from mulchwright.api import (
        Book,
        BookError,
        Garden,
        InputError,
        MulchwrightError,
        Outlook,
        create_book,
        demo_garden,
        open_book,
        outlook,
    )

__all__ = [
    "Book",
    "BookError",
    "Garden",
    "InputError",
    "MulchwrightError",
    "Outlook",
    "__version__",
    "create_book",
    "demo_garden",
    "open_book",
    "outlook",
]


def __getattr__(name: str) -> Any:
    """A public name, its module loaded now: the command line's help must not wait for the engine."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.api"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
