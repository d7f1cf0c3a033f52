"""Where an output can go, said before the work that it takes."""

from __future__ import annotations

from pathlib import Path

from dawnbeat.shared.errors import DawnbeatError, one_line

# How files of each kind of picture begin.
_PICTURES = {".png": (b"\x89PNG",), ".svg": (b"<?xml", b"<svg"), ".pdf": (b"%PDF",)}
_LONGEST = max(len(each) for begins in _PICTURES.values() for each in begins)


def check_picture(path: Path) -> None:
    """As `check_output` for a picture; a file of that name that is no such picture is somebody's own, and stays."""
    check_output(path)
    begins = _PICTURES.get(path.suffix.lower())
    if begins is None:
        raise DawnbeatError(f"can't write {one_line(path)}: give a name that ends in {', '.join(_PICTURES)}")
    if path.exists() and not _begins_with(path, begins):
        raise DawnbeatError(f"{one_line(path)} exists and is another file: choose another name")


def check_output(path: Path) -> None:
    """Raise DawnbeatError where a file can't be written: no such folder, or a folder of that name."""
    if path.is_dir():
        raise DawnbeatError(f"{one_line(path)} is a folder: name a file in it")
    if not path.parent.is_dir():
        raise DawnbeatError(f"can't write {one_line(path)}: there is no folder {one_line(path.parent)}, make it first")


def _begins_with(path: Path, begins: tuple[bytes, ...]) -> bool:
    """Whether a file begins like one of these; an empty one may be replaced."""
    try:
        with path.open("rb") as file:
            found = file.read(_LONGEST)
    except OSError:
        return False
    return not found or found.startswith(begins)
