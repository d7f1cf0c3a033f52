"""What is installed: the version of the program, and the files that come with it."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from dawnbeat.shared.errors import DawnbeatError


@cache
def software_version() -> str:
    """The installed version, or "unknown" when run from a folder that was never installed."""
    try:
        return version("dawnbeat")
    except PackageNotFoundError:
        return "unknown"


def is_shipped(path: Path) -> bool:
    """Whether a file is one of those of the room recordings."""
    folders = {Path(folder).resolve() for folder in import_module("dawnbeat.recordings").__path__}
    return bool(folders & set(path.resolve().parents))


def shipped_recording(name: str) -> Path:
    """The path of a file of the room recordings; raises DawnbeatError where the installation lacks it."""
    # A namespace package has a list of folders, some of them only placeholders of an editable install.
    for folder in import_module("dawnbeat.recordings").__path__:
        path = Path(folder, name)
        if path.exists():
            return path
    raise DawnbeatError(f"the installation lacks {name}: install dawnbeat again")
