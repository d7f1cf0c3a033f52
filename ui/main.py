"""The `dawnbeat` command: which words there are, and how errors leave the program.

Only the command that runs imports what it needs, so that `--version` and `--help` answer at once.
"""

from __future__ import annotations

import sys

_STOPPED = 130


def main() -> None:
    """Run the command line and end the process: 0 when all went well, 2 with one line when the input was bad."""
    arguments = sys.argv[1:]
    if arguments == ["--version"]:
        from dawnbeat.shared.version import software_version

        print(f"dawnbeat {software_version()}")
        return
    code = run(arguments)
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _let_output_go()
    sys.exit(code)


def run(arguments: list[str]) -> int:
    """The exit code of one command line."""
    from dawnbeat.shared.errors import DawnbeatError, one_line

    try:
        if not arguments:
            from dawnbeat.ui.window.shell.app import run_window

            return run_window(None)
        return _run_command(arguments)
    except DawnbeatError as error:
        print(f"dawnbeat: {one_line(error)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("dawnbeat: stopped", file=sys.stderr)
        return _STOPPED
    except BrokenPipeError:
        _let_output_go()
        return 0
    except Exception as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            print(error, file=sys.stderr)
            return 2
        usage = usage_error(error)
        if usage is None:
            raise
        print(f"dawnbeat: {one_line(usage)}", file=sys.stderr)
        return 2


def usage_error(error: Exception) -> str | None:
    """What a mistaken command line should say, or None where the error is no such mistake."""
    show = getattr(error, "format_message", None)
    if show is None or not hasattr(error, "exit_code"):
        return None
    command = getattr(getattr(error, "ctx", None), "command_path", "dawnbeat")
    return f"{str(show()).rstrip('.')} (see {command} --help)"


def _run_command(arguments: list[str]) -> int:
    import typer

    from dawnbeat.ui.app import build_app

    app = build_app()
    try:
        code = int(app(args=arguments, prog_name="dawnbeat", standalone_mode=False) or 0)
    except typer.Abort:
        raise KeyboardInterrupt from None
    except SystemExit as stop:
        # What the library makes of an output that nobody reads any more.
        raise BrokenPipeError from stop
    if code == _STOPPED:
        raise KeyboardInterrupt
    return code


def _let_output_go() -> None:
    """Whoever read our output has enough: what is still to be written goes nowhere, and nobody complains."""
    import contextlib
    import os

    with contextlib.suppress(OSError, ValueError):  # an output that is no file at all needs nothing
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
