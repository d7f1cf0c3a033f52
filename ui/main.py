"""The `dawnbeat` command: which words there are, and how errors leave the program.

Only the command that runs imports what it needs, so that `--version` and `--help` answer at once.
"""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and end the process: 0 when all went well, 2 with one line when the input was bad."""
    arguments = sys.argv[1:]
    if arguments == ["--version"]:
        from dawnbeat.shared.version import software_version

        print(f"dawnbeat {software_version()}")
        return
    sys.exit(run(arguments))


def run(arguments: list[str]) -> int:
    """The exit code of one command line."""
    from dawnbeat.shared.errors import DawnbeatError, one_line
    from dawnbeat.ui.app import build_app

    try:
        if not arguments:
            from dawnbeat.ui.window.app import run_window

            return run_window(None)
        app = build_app()
        return int(app(args=arguments, standalone_mode=False) or 0)
    except DawnbeatError as error:
        print(f"dawnbeat: {one_line(error)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("dawnbeat: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # Whoever read our output has enough; a second complaint at exit helps nobody.
        sys.stderr.close()
        return 0
    except Exception as error:
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
    return f"{show()} (see dawnbeat --help)"
