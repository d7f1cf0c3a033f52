"""The words of the command line, each with the module that does it."""

from __future__ import annotations

import typer

from dawnbeat.ui.commands import (
    agree,
    cameras,
    demo,
    journal_files,
    mornings,
    pulse,
    read,
    record,
    rehearse,
    replay,
    tidy,
    window,
)

_ABOUT = (
    "A runner's morning pulse and variability, read from a fingertip on a camera. "
    "Without a command the window opens. Not a medical device."
)


def build_app() -> typer.Typer:
    """All commands as one application."""
    app = typer.Typer(
        help=_ABOUT,
        no_args_is_help=False,
        context_settings={"help_option_names": ["-h", "--help"]},
        rich_markup_mode=None,
        pretty_exceptions_enable=False,  # a fault of ours is reported as Python does, without the values of variables
    )
    app.command("window")(window.window)
    app.command("demo")(demo.demo)
    app.command("read")(read.read)
    app.command("mornings")(mornings.mornings)
    app.command("note")(mornings.note)
    app.command("keep")(tidy.keep)
    app.command("bin")(tidy.bin_command)
    app.command("pulse")(pulse.pulse_command)
    app.command("replay")(replay.replay)
    app.command("record")(record.record)
    app.command("agree")(agree.agree)
    app.command("rehearse")(rehearse.rehearse)
    app.command("cameras")(cameras.cameras)
    app.add_typer(journal_files.export_app, name="export")
    app.add_typer(journal_files.import_app, name="import")
    app.command("backup")(journal_files.backup)
    app.command("restore")(journal_files.restore)
    app.command("reanalyse")(journal_files.reanalyse)
    _add_training(app)
    app.callback()(_version)
    return app


def _add_training(app: typer.Typer) -> None:
    from dawnbeat.ui.commands.runs import runs_app
    from dawnbeat.ui.commands.zones import zones_command

    app.command("zones")(zones_command)
    app.add_typer(runs_app, name="runs")


def _version(
    version: bool = typer.Option(False, "--version", help="Print the version and stop.", is_eager=True),
) -> None:
    if version:
        from dawnbeat.shared.version import software_version

        print(f"dawnbeat {software_version()}")
        raise typer.Exit
