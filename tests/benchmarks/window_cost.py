"""What the window costs: start to first paint, opening ten years of mornings, panning them.

Run with `python tests/benchmarks/window_cost.py`; draws offscreen unless QT_QPA_PLATFORM says otherwise.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

START = """
import sys, time
from dawnbeat.ui.window.shell.main_window import MainWindow, run_window
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
painted = MainWindow.paintEvent
def paint(self, event):
    painted(self, event)
    QTimer.singleShot(0, QApplication.instance().quit)
MainWindow.paintEvent = paint
run_window()
"""


def start_s() -> float:
    """Seconds from the start of a fresh interpreter until the window was painted and the program ended."""
    began_s = time.perf_counter()
    subprocess.run([sys.executable, "-c", START], check=True, capture_output=True)
    return time.perf_counter() - began_s


def main() -> None:
    """Print each figure on a line."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DAWNBEAT_HOME"] = folder
        from dawnbeat.journal.store import Journal
        from dawnbeat.morning.choices import ChoiceStore
        from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
        from dawnbeat.ui.window.parts.context import AppContext
        from dawnbeat.ui.window.shell.main_window import MainWindow, _load_libraries, _load_plots, make_app

        times = sorted(start_s() for _ in range(5))
        print(f"start to first paint and end, empty journal: median {times[2]:.2f} s, worst {times[-1]:.2f} s")
        app = make_app()
        with Journal.open(Path(folder)) as journal:
            journal.connection.execute("PRAGMA synchronous = OFF")
            readings = fill_with_invented_mornings(journal, date(2025, 6, 1), days=3890)
            context = AppContext(journal, ChoiceStore(Path(folder)))
            context.choose(met=True)
            window = MainWindow(context, "help")
            window.resize(1280, 800)
            window.show()
            app.processEvents()
            _load_libraries(_Never())
            for _ in _load_plots():
                app.processEvents()
            began_s = time.perf_counter()
            window.go("mornings")
            app.processEvents()
            print(f"Mornings with {readings} readings opens in {1000 * (time.perf_counter() - began_s):.0f} ms")
            chart = window.pages["mornings"].chart  # type: ignore[attr-defined]
            for name, days in (("3 months", 91), ("a year", 365), ("all", None)):
                chart.show_last(days)
                app.processEvents()
                began_s, count = time.perf_counter(), 60
                for step in range(count):
                    chart.above.plot.box.translateBy(x=86_400.0 * (1 if step % 2 else -1))
                    for half in (chart.above, chart.below):
                        half.plot.canvas.viewport().repaint()
                print(f"panning {name}: {count / (time.perf_counter() - began_s):.0f} frames a second")
            window.close()


class _Never:
    cancelled = False

    def progress(self, done: int, of: int) -> None:
        """Nobody watches."""


if __name__ == "__main__":
    main()
