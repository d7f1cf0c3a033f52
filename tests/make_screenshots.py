"""The pictures that README shows, made again from an invented journal.

    QT_QPA_PLATFORM=offscreen python tests/make_screenshots.py [FOLDER]

Writes light and dark PNGs of the pages, at 1280 x 800, into ui/screenshots unless another folder is named. Everything
in them is invented: the runner, the mornings, the runs and the finger.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import date
from pathlib import Path

from PySide6.QtCore import QEventLoop, QTimer

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.app import make_app
from dawnbeat.ui.window.shell.main_window import MainWindow

WIDTH, HEIGHT = 1280, 800
PAGES = ("read", "mornings", "zones", "runs", "bench")
FOLDER = Path(__file__).resolve().parents[1] / "ui" / "screenshots"
SAMPLE = Path(__file__).resolve().parents[1] / "recordings" / "motion-burst"


def wait(seconds: float) -> None:
    """Let the window work for a while."""
    loop = QEventLoop()
    QTimer.singleShot(int(1000 * seconds), loop.quit)
    loop.exec()


def take(folder: Path, theme: str) -> None:
    """One picture a page in one theme."""
    with tempfile.TemporaryDirectory() as place, Journal.open(Path(place, "journal")) as journal:
        fill_with_invented_mornings(journal, date.today())
        fill_with_invented_runs(journal, date.today())
        context = AppContext(journal, ChoiceStore(Path(place, "settings")))
        context.choose(theme=theme, met=True)
        window = MainWindow(context, "mornings")
        window.resize(WIDTH, HEIGHT)
        window.show()
        for page in PAGES:
            context.go(page, SAMPLE if page == "bench" else None)
            wait(2.0)
            path = folder / f"{page}-{theme}.png"
            if not window.grab().save(str(path)):
                raise SystemExit(f"can't write {path}")
            print(path)
        window.close()
        wait(0.2)


def main() -> None:
    """Make them all."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    app = make_app()
    for theme in ("light", "dark"):
        take(folder, theme)
    del app


if __name__ == "__main__":
    main()
