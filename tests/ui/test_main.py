from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from subprocess import Popen

import pytest

from dawnbeat.shared.version import software_version
from dawnbeat.ui import main
from tests.ui.command_line import CommandLine

COMMANDS = [
    *("demo", "read", "mornings", "note", "replay", "record", "agree", "rehearse", "cameras", "backup", "restore"),
    *("reanalyse", "export mornings", "export intervals", "import mornings"),
]


def test_the_version_comes_without_anything_heavy() -> None:
    code = (
        "import sys; sys.argv = ['dawnbeat', '--version']; from dawnbeat.ui.main import main; main(); "
        "print(sorted({'numpy', 'scipy', 'cv2', 'typer', 'rich', 'matplotlib', 'PySide6'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert done.stdout.splitlines() == [f"dawnbeat {software_version()}", "[]"]


def test_help_comes_without_anything_that_computes() -> None:
    code = (
        "import sys; from dawnbeat.ui.main import run; run(['--help']); "
        "print(sorted({'scipy', 'cv2', 'matplotlib', 'PySide6'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
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

    monkeypatch.setattr("dawnbeat.capture.devices.list_cameras", interrupted)
    said = cli("cameras")
    assert (said.code, said.err) == (130, "dawnbeat: stopped\n")


def test_a_fault_of_our_own_is_not_dressed_up_as_a_mistake_of_the_user(
    cli: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("dawnbeat.capture.devices.list_cameras", broken)
    with pytest.raises(ZeroDivisionError):
        main.run(["cameras"])


def test_as_a_process_a_mistake_ends_with_code_two(process: Callable[..., Popen[str]]) -> None:
    out, err = (started := process("nonsense")).communicate(timeout=30)
    assert (started.returncode, out) == (2, "")
    assert len(err.splitlines()) == 1
