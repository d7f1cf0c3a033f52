"""The words of the command line, each with the module that does it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import typer
from typer.core import TyperArgument

from dawnbeat.ui.commands import invented, journal, light, mornings, pulses, read, recordings
from dawnbeat.ui.commands.options import SOURCE_HELP, JournalFolder

_ABOUT = (
    "A runner's morning pulse and variability, read from a fingertip on a camera. "
    "Without a command the window opens. Not a medical device.\n\n"
    "A recording is the light of a fingertip, a reading what was worked out from it, and a morning the day with the "
    "one reading that counts for it."
)


_METAVARS = {
    **dict.fromkeys(("reading", "run_id", "entry_id"), "NUMBER"),
    **dict.fromkeys(("day", "first", "last"), "DAY"),
    **dict.fromkeys(("began", "taken"), "WHEN"),
    **dict.fromkeys(("path", "paths", "archive"), "FILE"),
    "begins": "TIME",
    "recordings": "RECORDING",
    "words": "WORD",
}


class _Argument(TyperArgument):
    """An argument that help names as its usage line does: one word, without braces or the type of the code."""

    def _usage_display_name(self) -> str:
        name = self.display_name_raw + ("..." if self.nargs != 1 else "")
        return name if self.required else f"[{name}]"

    def display_type_rich(self, ctx: Any) -> str | None:
        return None


@cache
def build_app() -> Any:
    """All commands as one, ready to be called with the words of a command line; it holds nothing of a call."""
    command = typer.main.get_command(_app())
    for parameter in _parameters(command):
        if isinstance(parameter, TyperArgument):
            # The library makes its arguments by itself, and lets nobody choose their class.
            parameter.__class__ = _Argument
        if parameter.metavar is None and not getattr(parameter, "is_flag", False):
            parameter.metavar = _metavar(parameter)
    return command


def _parameters(command: Any) -> Iterator[Any]:
    yield from command.params
    for each in getattr(command, "commands", {}).values():
        yield from _parameters(each)


def _metavar(parameter: Any) -> str:
    """What stands for a value in help: NUMBER for a number, DAY and WHEN for dates, else its own name."""
    named = _METAVARS.get(parameter.name)
    if named is None and not isinstance(parameter, TyperArgument) and _is_number(parameter):
        return "NUMBER"
    return named or str(parameter.name).replace("_", "-").upper()


def _is_number(parameter: Any) -> bool:
    kind = getattr(parameter, "type", None)
    if kind is not None:
        return str(kind.name).split()[0] in ("integer", "float")
    return parameter.type_descriptor.annotation in (int, float)


def _app() -> typer.Typer:
    app = typer.Typer(
        help=_ABOUT,
        no_args_is_help=False,
        context_settings={"help_option_names": ["-h", "--help"]},
        rich_markup_mode=None,
        pretty_exceptions_enable=False,  # a fault of ours is reported as Python does, without the values of variables
    )
    app.command("window")(_window)
    app.command("demo")(invented.demo)
    app.command("read")(read.read)
    app.command("mornings")(mornings.mornings)
    app.command("note")(mornings.note)
    app.command("rescue")(journal.rescue)
    # What the commands were called before; scripts go on working.
    app.command("keep", hidden=True)(journal.rescue)
    app.command("bin")(journal.bin_command)
    app.command("pulse")(pulses.pulse_command)
    app.command("replay")(recordings.replay)
    app.command("record")(light.record)
    app.command("agree")(recordings.agree)
    app.command("rehearse")(invented.rehearse)
    app.command("cameras")(light.cameras)
    app.add_typer(journal.export_app, name="export")
    app.add_typer(journal.import_app, name="import")
    app.command("backup")(journal.backup)
    app.command("restore")(journal.restore)
    app.command("reanalyse")(journal.reanalyse)
    _add_training(app)
    app.callback()(_version)
    return app


def _add_training(app: typer.Typer) -> None:
    from dawnbeat.ui.commands.runs import runs_app
    from dawnbeat.ui.commands.zones import zones_command

    app.command("zones")(zones_command)
    app.add_typer(runs_app, name="runs")


def _window(
    page: str | None = typer.Option(None, help="Page to open: read, mornings, zones, runs, bench, settings or help."),
    source: str | None = typer.Option(None, help=f"{SOURCE_HELP.rstrip('.')}; for this once, nothing is changed."),
    journal: JournalFolder = None,
) -> None:
    """Open the window, as `dawnbeat` alone does."""
    from dawnbeat.ui.window.shell.main_window import run_window

    raise typer.Exit(run_window(journal, page, source=source))


def _version(
    version: bool = typer.Option(False, "--version", help="Print the version and stop.", is_eager=True),
) -> None:
    if version:
        from dawnbeat.shared.installed import software_version

        print(f"dawnbeat {software_version()}")
        raise typer.Exit
