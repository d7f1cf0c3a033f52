"""Whether a window can open is known before Qt is asked."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from dawnbeat.ui import display

linux_only = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux has displays by name")


@pytest.fixture
def bare(monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    return monkeypatch


@linux_only
def test_without_a_display_the_sentence_says_so(bare):
    assert "no display" in (display.display_problem() or "")


@linux_only
def test_a_display_that_nobody_serves_is_named(bare):
    bare.setenv("DISPLAY", ":7654")
    assert "':7654' doesn't answer" in (display.display_problem() or "")


@linux_only
def test_a_platform_without_a_screen_needs_no_display(bare):
    bare.setenv("QT_QPA_PLATFORM", "offscreen")
    assert display.display_problem() is None
    assert not display.is_seen()


@linux_only
def test_the_command_without_a_display_ends_with_one_line_and_code_2():
    clean = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")}
    done = subprocess.run(
        [sys.executable, "-c", "from dawnbeat.ui.main import main; main()"],
        env=clean, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "no display" in done.stderr


@linux_only
@pytest.mark.parametrize("problem", [display.display_problem, display.drawing_problem])
def test_a_library_that_is_not_there_is_named_by_its_package(bare, problem):
    bare.setenv("QT_QPA_PLATFORM", "offscreen")
    bare.setattr(display, "TO_DRAW", {"libc.so.6": "libc6", "libnothing-of-the-kind.so.9": "libnothing9"})
    said = problem() or ""
    assert "apt-get install libnothing9 " in said
    assert "libc6" not in said


@pytest.mark.parametrize("file", ["README.md", ".ci/run"])
def test_each_library_is_among_those_that_a_bare_machine_is_told_to_install(file):
    words = (Path(__file__).parents[2] / file).read_text(encoding="utf-8").replace("(", " ").split()
    assert set((display.TO_DRAW | display.FOR_A_WINDOW).values()) <= set(words)
