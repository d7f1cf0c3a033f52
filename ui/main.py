"""The `dawnbeat` command: which words there are, and how errors leave the program.

Only the command that runs imports what it needs, so that `--version` and `--help` answer at once.
"""

from __future__ import annotations

import errno
import os
import sys

_STOPPED = 130
# What the system says of an output that takes no more: full, gone, or not open for writing.
_OUTPUT_ERRORS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF)
COMPLETION = "_DAWNBEAT_COMPLETE"


def main() -> None:
    """Run the command line and end the process: 0 when all went well, 2 with one line when the input was bad."""
    _make_outputs_safe()
    code = run(sys.argv[1:])
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        let_output_go()
    except OSError as error:
        code = _output_failed(error)
    if code:
        sys.exit(code)


def run(arguments: list[str]) -> int:
    """The exit code of one command line."""
    from dawnbeat.shared.errors import DawnbeatError, one_line

    try:
        if arguments == ["--version"]:
            from dawnbeat.shared.installed import software_version

            print(f"dawnbeat {software_version()}")
            return 0
        if not arguments and COMPLETION not in os.environ:
            from dawnbeat.ui.window.shell.main_window import run_window

            return run_window(None)
        return _run_command(arguments)
    except DawnbeatError as error:
        print(f"dawnbeat: {one_line(error)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("dawnbeat: stopped", file=sys.stderr)
        return _STOPPED
    except BrokenPipeError:
        let_output_go()
        return 0
    except OSError as error:
        if error.errno not in _OUTPUT_ERRORS or error.filename is not None:
            raise
        return _output_failed(error)
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
        if COMPLETION in os.environ:
            raise
        # What the library makes of an output that nobody reads any more.
        raise BrokenPipeError from stop
    if code == _STOPPED:
        raise KeyboardInterrupt
    return code


def _make_outputs_safe() -> None:
    """Letters that an output can't show become question marks, and a closed one takes everything and shows nothing."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            # Open for good: it stands in for an output that the process was started without.
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _output_failed(error: OSError) -> int:
    """Say on the other output that this one failed; the exit code of that."""
    let_output_go()
    print(f"dawnbeat: can't write the output: {error.strerror or error}: give it room", file=sys.stderr)
    return 2


def let_output_go() -> None:
    """Whoever read our output has enough: what is still to be written goes nowhere, and nobody complains."""
    import contextlib

    with contextlib.suppress(OSError, ValueError):  # an output that is no file at all needs nothing
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
