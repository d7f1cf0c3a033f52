"""Options that several commands about zones and runs share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

JournalFolder = Annotated[
    Path | None,
    typer.Option(
        "--journal", metavar="FOLDER", help="Folder of the journal instead of the usual one (or set DAWNBEAT_HOME)."
    ),
]
RunId = Annotated[int, typer.Argument(help="Number of the run, as `runs list` shows it.")]
First = Annotated[str | None, typer.Option("--from", help="First day, as 2025-03-01.")]
Last = Annotated[str | None, typer.Option("--to", help="Last day, as 2025-03-31.")]
