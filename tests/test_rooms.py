"""The rooms: imports point one way, no room hides the standard library, and the version answers at once."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
# What each room may import of the others.
ALLOWED = {
    "shared": {"shared", "recordings"},
    "signal": {"shared", "signal"},
    "capture": {"shared", "signal", "capture"},
    "journal": {"shared", "journal"},
    "training": {"shared", "journal", "training"},
    "recordings": {"shared", "signal", "capture", "journal", "training", "recordings"},
    "morning": {"shared", "signal", "capture", "journal", "training", "recordings", "morning"},
    "ui": {"shared", "signal", "capture", "journal", "training", "recordings", "morning", "ui"},
}
HEAVY = ("numpy", "scipy", "cv2", "matplotlib", "PySide6", "pyqtgraph", "pandas", "rich", "typer", "sqlite3")
MODULES = [
    pytest.param(room, path, id=path.relative_to(ROOT).as_posix())
    for room in ALLOWED
    for path in sorted((ROOT / room).rglob("*.py"))
]


def rooms_imported(path: Path, room: str) -> set[str]:
    """The rooms that a module imports, wherever in the module it does, relative imports included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level:
            # The package that a module lies in, by its folder; each further dot goes one up.
            package = ["dawnbeat", *path.relative_to(ROOT).parts[:-1]]
            base = package[: len(package) - node.level + 1]
            tail = [*base, *(node.module or "").split(".")] if node.module else base
            names = [".".join(tail)] if len(tail) > 1 else [".".join([*tail, alias.name]) for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module == "dawnbeat":
            names = [f"dawnbeat.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        elif isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in ("import_module", "__import__"):
                names = [a.value for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str)]
        found |= {name.split(".")[1] for name in names if name.startswith("dawnbeat.")}
    return found


@pytest.mark.parametrize(("room", "path"), MODULES)
def test_a_module_imports_only_rooms_below_its_own(room, path):
    assert rooms_imported(path, room) <= ALLOWED[room]


@pytest.mark.parametrize(
    ("line", "room"),
    [
        ("import dawnbeat.ui.app", "ui"),
        ("from dawnbeat.ui import app", "ui"),
        ("from dawnbeat import ui", "ui"),
        ("def f():\n    from dawnbeat.journal.store import Journal", "journal"),
        ("from ..ui import app", "ui"),
        ("from .. import ui", "ui"),
        ("import_module('dawnbeat.capture.camera')", "capture"),
    ],
)
def test_the_check_sees_every_way_to_import(tmp_path, monkeypatch, line, room):
    monkeypatch.setattr(sys.modules[__name__], "ROOT", tmp_path)
    path = tmp_path / "signal" / "beats.py"
    path.parent.mkdir()
    path.write_text(line)
    assert rooms_imported(path, "signal") == {room}


def test_every_room_is_looked_at():
    rooms = {room for room, *_ in (param.values for param in MODULES)}
    assert {"shared", "signal", "capture", "journal", "ui"} <= rooms
    folders = {path.parent.name for path in ROOT.glob("*/*.py")}
    assert folders - {"tests"} <= set(ALLOWED)


def test_no_room_has_an_init_file():
    for room in ALLOWED:
        assert not list((ROOT / room).rglob("__init__.py"))


def python(*arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": "", "QT_QPA_PLATFORM": "offscreen"}
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_an_interpreter_in_the_root_finds_the_standard_library():
    done = python(
        "-c",
        "import signal, subprocess, asyncio\n"
        "assert signal.SIGINT, subprocess.run\n"
        "asyncio.run(asyncio.sleep(0))\n"
        "print(signal.__file__)",
    )
    assert done.returncode == 0, done.stderr
    assert not Path(done.stdout.strip()).is_relative_to(ROOT / "signal")


def test_the_version_answers_without_heavy_imports():
    done = python(
        "-c",
        "import sys\n"
        "before = set(sys.modules)\n"
        "from dawnbeat.ui.main import main\n"
        "sys.argv = ['dawnbeat', '--version']\n"
        "try:\n"
        "    main()\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
        "print(*sorted({name.split('.')[0] for name in set(sys.modules) - before}))",
    )
    assert done.returncode == 0, done.stderr
    answer, loaded = done.stdout.strip().splitlines()
    assert answer.startswith("dawnbeat ")
    assert not set(HEAVY) & set(loaded.split())


@pytest.mark.parametrize("room", ["shared", "signal"])
def test_the_pure_rooms_touch_no_camera_no_window_and_no_database(room):
    outside = {"cv2", "PySide6", "pyqtgraph", "matplotlib", "rich", "typer", "sqlite3", "subprocess", "threading"}
    for path in (ROOT / room).glob("*.py"):
        if path.name == "processes.py":  # it starts processes, and watches over them
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert not {alias.name.split(".")[0] for alias in node.names} & outside, path.name
            elif isinstance(node, ast.ImportFrom) and node.module:
                assert node.module.split(".")[0] not in outside, path.name
