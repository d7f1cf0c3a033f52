"""Where an output can go, said before the work that it takes."""

from __future__ import annotations

from pathlib import Path

from dawnbeat.shared.errors import DawnbeatError, one_line

PNG = b"\x89PNG"


def check_output(path: Path, suffix: str | None = None, begins: bytes | None = None) -> None:
    """Raise DawnbeatError where a file can't be written: no such folder, a folder of that name, another ending.

    suffix: the ending that the name must have, such as ".png", in small or capital letters. begins: how a file of this
    kind begins; one of that name that begins otherwise is somebody's own and is not replaced.
    """
    if path.is_dir():
        raise DawnbeatError(f"{one_line(path)} is a folder: name a file in it")
    if not path.parent.is_dir():
        raise DawnbeatError(f"can't write {one_line(path)}: there is no folder {one_line(path.parent)}, make it first")
    if suffix is not None and path.suffix.lower() != suffix:
        raise DawnbeatError(f"can't write {one_line(path)}: give a name that ends in {suffix}")
    if begins is not None and path.exists() and not _begins_with(path, begins):
        raise DawnbeatError(f"{one_line(path)} exists and is another file: choose another name")


def _begins_with(path: Path, begins: bytes) -> bool:
    """Whether a file begins like that; an empty one may be replaced."""
    try:
        with path.open("rb") as file:
            found = file.read(len(begins))
    except OSError:
        return False
    return found in (begins, b"")
