"""Where an output can go, said before the work that it takes."""

from __future__ import annotations

from pathlib import Path

from dawnbeat.shared.errors import DawnbeatError, one_line


def check_output(path: Path, suffix: str | None = None) -> None:
    """Raise DawnbeatError where a file can't be written: no such folder, a folder of that name, another ending.

    suffix: the ending that the name must have, such as ".png", in small or capital letters.
    """
    if path.is_dir():
        raise DawnbeatError(f"{one_line(path)} is a folder: name a file in it")
    if not path.parent.is_dir():
        raise DawnbeatError(f"can't write {one_line(path)}: there is no folder {one_line(path.parent)}, make it first")
    if suffix is not None and path.suffix.lower() != suffix:
        raise DawnbeatError(f"can't write {one_line(path)}: give a name that ends in {suffix}")
