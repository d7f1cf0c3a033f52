"""How long it takes from changing a parameter on Bench to the picture, for a trace of about two minutes.

    python tests/benchmarks/bench_cost.py [RECORDING]

Each change waits for the last picture. Analysis is what ran off the window's thread; the rest is waiting, drawing and
painting the whole page; whole is from the change to the end of the painting.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtCore import QEventLoop, QTimer

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.ui.window.bench.page import BenchPage
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import make_app

_CHANGES = 40
_VIEWS = ("Traces", "Shape", "Compare")


def main() -> None:
    recording = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2] / "recordings" / "calm-morning"
    make_app()
    with tempfile.TemporaryDirectory() as folder, Journal.open(Path(folder) / "home") as journal:
        page = BenchPage(AppContext(journal, ChoiceStore(Path(folder) / "config")))
        page.resize(1150, 760)
        page.show()
        page.open([recording])
        _until(lambda: page.run is not None)
        for view, name in enumerate(_VIEWS):
            page.views.setCurrentIndex(view)
            _idle(300)
            rows = np.array([_one_change(page, number) for number in range(_CHANGES)])
            middle, slow = np.median(rows, axis=0), np.percentile(rows, 95, axis=0)
            words = ", ".join(
                f"{what} {m:.0f} ms (95 % under {s:.0f})"
                for what, m, s in zip(("analysis", "rest", "whole"), middle, slow, strict=True)
            )
            print(f"{name}: {words}")
        page.closing()
        page.context.background.stop()


def _one_change(page: BenchPage, number: int) -> tuple[float, float, float]:
    before = page.run
    began = time.perf_counter()
    page.panel.controls["lowpass_hz"].editor.setValue(6.0 + 0.1 * (number % 20))
    _until(lambda: page.run is not before)
    page.grab()
    assert page.run is not None
    whole_ms = 1000.0 * (time.perf_counter() - began)
    return page.run.took_ms, whole_ms - page.run.took_ms, whole_ms


def _until(there: Callable[[], bool]) -> None:
    loop, timer = QEventLoop(), QTimer(interval=1)
    timer.timeout.connect(lambda: loop.quit() if there() else None)
    timer.start()
    loop.exec()


def _idle(ms: int) -> None:
    loop = QEventLoop()
    QTimer.singleShot(ms, loop.quit)
    loop.exec()


if __name__ == "__main__":
    main()
