"""Arguments and options that many commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

BookPath = Annotated[Path, typer.Argument(metavar="BOOK", help="The garden book.", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for scripts.")]
