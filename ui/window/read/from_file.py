"""A clip or recording that becomes a reading of when it was taken, dropped on the page or chosen."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from PySide6.QtCore import QDateTime, QMimeData
from PySide6.QtWidgets import QFileDialog, QWidget

from dawnbeat.capture.recording import TRACE, VIDEO, VIDEO_SUFFIXES, is_video
from dawnbeat.morning.sources import taken_at
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import DateTimeEdit
from dawnbeat.ui.window.parts.forms import FormDialog

Begin = Callable[[Path, datetime], object]


def dropped_path(dropped: QMimeData) -> Path | None:
    """The one clip, trace or folder of a recording that is dropped; None for anything else."""
    paths = [Path(url.toLocalFile()) for url in dropped.urls() if url.isLocalFile()]
    if len(paths) != 1:
        return None
    path = paths[0]
    folder = path.is_dir() and any((path / name).exists() for name in (TRACE, VIDEO))
    return path if folder or is_video(path) or path.name.endswith((".csv", ".csv.gz")) else None


def chosen_path(parent: QWidget) -> Path | None:
    """The clip or trace that the runner chooses; None for none."""
    kinds = " ".join(f"*{each}" for each in sorted(VIDEO_SUFFIXES))
    name, _ = QFileDialog.getOpenFileName(parent, "A clip or a trace", "", f"Clips and traces ({kinds} *.csv *.csv.gz)")
    return Path(name) if name else None


def read_file(context: AppContext, path: Path, begin: Begin, parent: QWidget) -> TakenDialog | None:
    """Begin with when the file says that it was taken; where it doesn't say, ask."""
    try:
        taken = taken_at(path)
    except DawnbeatError as error:
        context.say(str(error))
        return None
    if taken is not None:
        begin(path, taken)
        return None
    dialog = TakenDialog(context, path, begin, parent)
    dialog.open()
    return dialog


class TakenDialog(FormDialog):
    """Asks when the light of a file was taken."""

    def __init__(self, context: AppContext, path: Path, begin: Begin, parent: QWidget) -> None:
        super().__init__(context, "When it was taken", self._begin, parent, height=240)
        self._path, self._then = path, begin
        self.taken = DateTimeEdit(QDateTime.fromSecsSinceEpoch(int(path.stat().st_mtime)))
        self.taken.setDisplayFormat("yyyy-MM-dd HH:mm")
        self.row("Taken", self.taken, "Local time at which the clip or recording began")
        self.say(f"{path.name} does not say when it was taken; offered is when the file was last written.", "soft")
        self.keep_button.setText("&Read it")

    def _begin(self) -> None:
        taken = datetime.fromisoformat(str(self.taken.dateTime().toString("yyyy-MM-ddTHH:mm:ss"))).astimezone()
        if taken > datetime.now().astimezone():
            raise DawnbeatError(f"{taken:%Y-%m-%d %H:%M} is still to come")
        self._then(self._path, taken)
