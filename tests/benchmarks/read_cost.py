"""What a reading costs: `python tests/benchmarks/read_cost.py [--minutes 10] [--view-minutes 30]`.

Targets: 60 frames a second of 640 x 480 through a whole reading of ten minutes with no frame dropped, under
60 % of one core and 300 MB; memory flat over half an hour of live view. Runs offscreen unless
QT_QPA_PLATFORM says otherwise, in a journal of its own, with the whole page and a recording on the disk.

The frames are drawn beforehand, so the cost of a camera's own driver and decoder is not in the figures; the
memory of the drawn frames is in them, and is named. Needs a machine that has nothing else to do: a frame
that comes while other programs hold all cores is lost, here as with a camera.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtCore import QEventLoop, QTimer

from dawnbeat.capture.frames import Frame, Image, SourceAbout
from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.morning.flow import Plan
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.page import ReadPage
from dawnbeat.ui.window.shell.main_window import make_app

WIDTH, HEIGHT, RATE_HZ = 640, 480, 60
# A driver keeps a few frames for a program that is busy, and no more.
KEPT_BY_DRIVER = 4


def finger_loop() -> list[Image]:
    """One second of a pulsating, covered lens, to be shown again and again; each frame is shown twice."""
    rng = np.random.default_rng(7)
    base = np.empty((HEIGHT, WIDTH, 3), dtype=np.float32)
    base[:] = (25.0, 30.0, 120.0)
    frames = []
    for k in range(RATE_HZ // 2):
        pulse = 1.0 - 0.02 * np.exp(-((2 * k / RATE_HZ - 0.3) ** 2) / 0.01)
        noise = rng.normal(0, 2.0, base.shape).astype(np.float32)
        frames.append(np.clip(base * pulse + noise, 0, 255).astype(np.uint8))
    return frames


class Drawn:
    """Frames drawn beforehand, at their own pace; what nobody takes in time is lost, as with a camera."""

    def __init__(self, frames: list[Image]) -> None:
        self._frames = frames
        self._closed = threading.Event()
        self.about = SourceAbout("drawn beforehand (invented)", WIDTH, HEIGHT, RATE_HZ, live=True)

    def frames(self) -> Iterator[Frame]:
        """Yield frames for as long as anybody wants them; a copy each, as a driver gives."""
        began_s = time.monotonic()
        number = 0
        while not self._closed.is_set():
            wait_s = began_s + number / RATE_HZ - time.monotonic()
            lost = 0
            if wait_s > 0:
                time.sleep(wait_s)
            elif wait_s < -KEPT_BY_DRIVER / RATE_HZ:
                lost = int(-wait_s * RATE_HZ)
                number += lost
            yield Frame(number / RATE_HZ, lost, self._frames[number // 2 % len(self._frames)].copy())
            number += 1

    def settle(self) -> None:
        """Nothing to lock."""

    def close(self) -> None:
        """End."""
        self._closed.set()


def memory_mb() -> float:
    """Resident memory now; NaN where the system does not say."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
    except OSError:
        return float("nan")
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS")), float("nan"))


def spin(until: Callable[[], bool], each_second: Callable[[], object] = lambda: None) -> None:
    """Run the window's loop until something holds."""
    loop, due_s = QEventLoop(), [time.monotonic()]

    def look() -> None:
        if time.monotonic() >= due_s[0]:
            due_s[0] += 1.0
            each_second()
        if until():
            loop.quit()

    timer = QTimer(interval=50)
    timer.timeout.connect(look)
    timer.start()
    loop.exec()
    timer.stop()


def measure(context: AppContext, frames: list[Image], drawn_mb: float, seconds: float, ends: bool) -> None:
    """One reading of so many seconds, or a live view as part of one that would not end; prints its table."""
    page = ReadPage(context, lambda: Drawn(frames), Plan(duration_s=seconds if ends else 1e6))
    page.resize(1150, 760)
    page.show()
    page.begin()
    capture, figures = page.capture, page.figures
    assert capture is not None
    spin(lambda: page.busy() is not None and capture.taking.flow.phase == "reading")
    lost, seen = figures.dropped, figures.frames
    cpu_s, began_s = time.process_time(), time.monotonic()
    memory: list[float] = []
    spin(
        lambda: capture.stage != "live" or (not ends and time.monotonic() - began_s > seconds),
        lambda: memory.append(memory_mb()),
    )
    took_s, cpu_s = time.monotonic() - began_s, time.process_time() - cpu_s
    delay = figures.delay
    assert delay is not None
    what = "reading" if ends else "live view"
    print(f"{what}, {took_s / 60:.1f} minutes at {RATE_HZ} a second, {WIDTH} x {HEIGHT}")
    row("frames", f"{figures.frames - seen}")
    row("frames dropped", f"{figures.dropped - lost}", "0")
    row("share of one core", f"{100 * cpu_s / took_s:.0f} %", "60 %")
    row("frame to paint, median", f"{delay.median_ms:.0f} ms")
    row("frame to paint, 95 % under, longest", f"{delay.p95_ms:.0f} ms, {delay.longest_ms:.0f} ms")
    row(f"memory, {drawn_mb:.0f} MB of it drawn frames", f"{max(memory):.0f} MB at most", "300 MB")
    third = max(1, len(memory) // 3)
    grown_mb = statistics.mean(memory[-third:]) - statistics.mean(memory[third : 2 * third] or memory)
    row("memory, last third over the middle third", f"{grown_mb:+.1f} MB", "flat")
    if hasattr(os, "getloadavg"):
        row("load of the machine at the end", f"{os.getloadavg()[1]:.1f}")
    page.closing()
    page.close()


def row(what: str, measured: str, target: str = "") -> None:
    """One line of the table."""
    print(f"  {what:<44} {measured:>18}   {target}", flush=True)


def main() -> None:
    """Print one table for the reading and one for the live view."""
    parser = argparse.ArgumentParser(description="What a reading costs.")
    parser.add_argument("--minutes", type=float, default=10.0, help="length of the reading; 0 leaves it out")
    parser.add_argument("--view-minutes", type=float, default=30.0, help="length of the live view; 0 leaves it out")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DAWNBEAT_HOME"] = folder
        make_app()
        with Journal.open(Path(folder)) as journal:
            context = AppContext(journal, ChoiceStore(Path(folder)))
            before_mb = memory_mb()
            frames = finger_loop()
            drawn_mb = memory_mb() - before_mb
            for minutes, ends in ((asked.minutes, True), (asked.view_minutes, False)):
                if minutes > 0:
                    measure(context, frames, drawn_mb, 60.0 * minutes, ends)
            context.background.stop()


if __name__ == "__main__":
    main()
