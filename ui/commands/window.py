"""`dawnbeat window`: the window, at a page and with a source for this once."""

from __future__ import annotations

from pathlib import Path

import typer

from dawnbeat.ui.commands.mornings import JOURNAL_HELP
from dawnbeat.ui.commands.record import SOURCE_HELP


def window(
    page: str | None = typer.Option(None, help="Page to open: read, mornings, zones, runs, bench, settings or help."),
    source: str | None = typer.Option(None, help=f"{SOURCE_HELP.rstrip('.')}; for this once, nothing is changed."),
    journal: Path | None = typer.Option(None, metavar="FOLDER", help=JOURNAL_HELP),
) -> None:
    """Open the window, as `dawnbeat` alone does."""
    from dawnbeat.ui.window.shell.main_window import run_window

    raise typer.Exit(run_window(journal, page, source=source))
