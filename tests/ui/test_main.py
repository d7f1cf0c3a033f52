from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import Popen

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.shared.installed import software_version
from dawnbeat.shared.morning import Context
from dawnbeat.ui import main
from tests.ui.command_line import CommandLine

SAMPLE = str(Path(__file__).parents[2] / "recordings" / "calm-morning")
RUNS_COMMANDS = [
    *("import", "add", "list", "show", "week", "settings", "export", "edit", "overrule", "bin", "month", "mornings"),
    *("estimate", "race", "protocol", "threshold", "maximum"),
]
COMMANDS = [
    *("demo", "read", "mornings", "note", "replay", "record", "agree", "rehearse", "cameras", "backup", "restore"),
    *("window", "reanalyse", "export mornings", "export intervals", "import mornings", "rescue", "bin", "pulse"),
    *("zones", "import intervals"),
]


def test_the_version_comes_without_anything_heavy() -> None:
    code = (
        "import sys; sys.argv = ['dawnbeat', '--version']; from dawnbeat.ui.main import main; main(); "
        "print(sorted({'numpy', 'scipy', 'cv2', 'typer', 'rich', 'matplotlib', 'PySide6'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120)
    assert done.stdout.splitlines() == [f"dawnbeat {software_version()}", "[]"]


def test_help_comes_without_anything_that_computes() -> None:
    code = (
        "import sys; from dawnbeat.ui.main import run; run(['--help']); "
        "print(sorted({'scipy', 'cv2', 'matplotlib', 'PySide6'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120)
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_version_is_told_among_other_words_too(cli: CommandLine) -> None:
    assert cli("--version", "replay").fine() == f"dawnbeat {software_version()}\n"


def test_help_lists_each_command_with_a_whole_sentence(cli: CommandLine) -> None:
    lines = cli("--help").fine().splitlines()
    for command in COMMANDS:
        word = command.split()[0]
        (line,) = [each for each in lines if each.split()[:1] == [word]]
        assert line.endswith("."), line
        assert not line.endswith("..."), line


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_explains_all_of_its_options(cli: CommandLine, command: str) -> None:
    out = cli(*command.split(), "--help").fine()
    assert f"Usage: dawnbeat {command}" in out
    assert "<list[" not in out.split("Options:")[1]
    blocks = out.split("Options:")[1].split("\n  --")[1:]
    for block in blocks:
        words = [word for line in block.splitlines() for word in line.split("  ") if word.strip()]
        assert len(words) > 1, f"--{block} has no explanation"


def test_help_of_runs_lists_each_command_with_a_whole_sentence(cli: CommandLine) -> None:
    lines = [line.split(maxsplit=1) for line in cli("runs", "--help").fine().split("Commands:")[1].splitlines() if line]
    assert [word for word, _ in lines] == RUNS_COMMANDS
    assert [said for _, said in lines if not said.endswith(".") or said.endswith("...")] == []


@pytest.mark.parametrize("command", [*COMMANDS, *(f"runs {each}" for each in RUNS_COMMANDS[:-1]), "runs maximum use"])
def test_help_names_values_in_words_and_not_as_the_code_does(cli: CommandLine, command: str) -> None:
    out = cli(*command.split(), "-h").fine()
    assert [
        sign
        for sign in ("{", "<str>", "<float>", "<int", "<path>", "run_id", "RUN-ID", "_")
        if sign in out.replace("DAWNBEAT_HOME", "")
    ] == []


def test_help_says_once_what_a_recording_a_reading_and_a_morning_are(cli: CommandLine) -> None:
    out = " ".join(cli("-h").fine().split())
    assert out == " ".join(cli("--help").fine().split())
    assert out.count("A recording is the light of a fingertip, a reading what was worked out from it") == 1


def test_usage_lines_call_a_run_and_a_reading_by_number(cli: CommandLine) -> None:
    assert "runs show [OPTIONS] NUMBER\n" in cli("runs", "show", "-h").fine()
    # An argument that may be left out has brackets or not, as the library's version will.
    assert "bin [OPTIONS] NUMBER\n" in cli("bin", "-h").fine().replace("[NUMBER]", "NUMBER")
    assert "Missing argument 'NUMBER'" in cli("runs", "show").refused()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nonsense",), "No such command 'nonsense'"),
        (("--nonsense",), "(see dawnbeat --help)"),
        (("replay", "--nonsense"), "(see dawnbeat replay --help)"),
        (("export", "mornings"), "(see dawnbeat export mornings --help)"),
        (("record", "out", "--seconds"), "--seconds"),
        (("record", "out", "surplus"), "surplus"),
    ],
)
def test_a_mistaken_command_line_gets_one_line(cli: CommandLine, words: tuple[str, ...], said: str) -> None:
    assert said in cli(*words).refused()


@pytest.mark.parametrize("group", ["export", "import"])
def test_a_group_without_a_command_shows_its_commands(cli: CommandLine, group: str) -> None:
    said = cli(group)
    assert said.code == 2
    assert "mornings" in said.err
    assert said.out == ""


def test_ctrl_c_anywhere_ends_with_one_line(cli: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("dawnbeat.capture.camera.list_cameras", interrupted)
    said = cli("cameras")
    assert (said.code, said.err) == (130, "dawnbeat: stopped\n")


def test_a_fault_of_our_own_is_not_dressed_up_as_a_mistake_of_the_user(
    cli: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("dawnbeat.capture.camera.list_cameras", broken)
    with pytest.raises(ZeroDivisionError):
        main.run(["cameras"])


def test_as_a_process_a_mistake_ends_with_code_two(process: Callable[..., Popen[str]]) -> None:
    out, err = (started := process("nonsense")).communicate(timeout=120)
    assert (started.returncode, out) == (2, "")
    assert len(err.splitlines()) == 1


def as_a_process(*words: str, **more: object) -> subprocess.CompletedProcess[str]:
    code = "from dawnbeat.ui.main import main; main()"
    options: dict[str, object] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "timeout": 60}
    return subprocess.run([sys.executable, "-c", code, *words], check=False, **(options | more))  # type: ignore[call-overload,no-any-return]


def test_letters_that_the_output_cannot_show_become_question_marks(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "DAWNBEAT_HOME": str(tmp_path)}
    done = as_a_process("note", "today", "note=früh am Fluß", "--nonsense-ä", env=environment)
    assert done.returncode == 2
    assert done.stderr.startswith("dawnbeat: ")
    assert "Traceback" not in done.stderr
    assert "?" in done.stderr


def test_a_terminal_with_few_letters_still_shows_the_mornings(place: Path) -> None:
    with Journal.open(place / "journal") as journal:
        fill_with_invented_mornings(journal, date(2025, 5, 20), days=9)
        journal.edit_context(journal.readings()[-1].id, Context(note="tea ☕"))
    few = {**os.environ, "PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"}
    done = as_a_process("mornings", "--weeks", "200", env=few, encoding="cp1252")
    assert (done.returncode, done.stderr) == (0, "")
    assert "tea ?" in done.stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs an output that is always full")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("words", [("--help",), ("--version",), ("replay", SAMPLE), ("replay", "--json", SAMPLE)])
def test_a_full_output_is_said_in_one_line(words: tuple[str, ...], unbuffered: str) -> None:
    with open("/dev/full", "w") as full:
        done = as_a_process(*words, stdout=full, env={**os.environ, "PYTHONUNBUFFERED": unbuffered})
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "can't write the output" in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="a shell that closes outputs")
def test_a_closed_output_does_no_harm() -> None:
    code = "from dawnbeat.ui.main import main; main()"
    done = subprocess.run(
        ["sh", "-c", '"$0" "$@" >&-', sys.executable, "-c", code, "replay", SAMPLE],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


def test_a_short_h_shows_the_help(cli: CommandLine) -> None:
    assert cli("replay", "-h").fine() == cli("replay", "--help").fine()


def test_the_shell_completes_commands() -> None:
    words = {"_DAWNBEAT_COMPLETE": "complete_bash", "COMP_WORDS": "dawnbeat rep", "COMP_CWORD": "1"}
    assert as_a_process(env={**os.environ, **words}).stdout.split() == ["replay"]


def test_the_module_is_the_command() -> None:
    module = [sys.executable, "-m", "dawnbeat", "--version"]
    done = subprocess.run(module, capture_output=True, text=True, timeout=120, check=False)
    assert done.stdout == f"dawnbeat {software_version()}\n"
