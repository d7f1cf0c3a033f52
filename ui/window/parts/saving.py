"""Files in and out of the window: what was dropped on it, and saving what it made, whole and for the user alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from PySide6.QtCore import QMimeData, QStandardPaths
from PySide6.QtWidgets import QFileDialog, QWidget

from dawnbeat.shared.errors import DawnbeatError, plain_errors
from dawnbeat.shared.private_files import write_private


class Says(Protocol):
    """Where it is told what was saved."""

    def say(self, sentence: str) -> None:
        """Tell what happened."""
        ...


def paths_in(dropped: QMimeData) -> list[Path]:
    """The local files and folders of something that is dropped."""
    return [Path(url.toLocalFile()) for url in dropped.urls() if url.isLocalFile()]


_last_folder: Path | None = None


def ask_save(parent: QWidget | None, title: str, name: str, kind: str) -> Path | None:
    """Ask where to save a file, suggesting a name; None where the runner changed their mind.

    kind: such as "CSV (*.csv)". The suffix is added where it is missing.
    """
    global _last_folder
    folder = _last_folder or Path(
        QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation) or Path.home()
    )
    chosen, _ = QFileDialog.getSaveFileName(parent, title, str(folder / name), kind)
    if not chosen:
        return None
    path = Path(chosen)
    if not path.suffix:
        path = path.with_suffix(Path(name).suffix)
    _last_folder = path.parent
    return path


def write_whole(path: Path, content: bytes, doing: str) -> None:
    """Write a file whole or not at all, 0600; raises DawnbeatError, `doing` completes "can't ..."."""
    with plain_errors(doing, path):
        write_private(path, content)


def save(where: Says, parent: QWidget, title: str, name: str, kind: str, write: Callable[[Path], str | None]) -> None:
    """Ask for a name, write, and say what was saved or what went wrong.

    write: writes the path; what it returns, such as "3 runs", is said.
    """
    path = ask_save(parent, title, name, kind)
    if path is None:
        return
    try:
        what = write(path)
    except DawnbeatError as error:
        where.say(str(error))
        return
    where.say(f"Saved {what} in {path.name}." if what else f"Saved {path.name}.")
