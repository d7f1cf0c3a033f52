"""The installed program on a real X11 screen: a process driven by keys alone, and its journal read afterwards."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.recording import read_recording
from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.finger_video import quiet_morning
from dawnbeat.shared.morning import Context, StoredReading
from tests.ui.mjpeg_server import finger_stream
from tests.ui.xvfb import Keyboard, needs_xdotool, needs_xvfb, x11_environment, xvfb

_SEED = 3
_RATE_HZ = 30.0
# Shorter than any reading may be, so that the verdict must say so.
_STOPPED_AFTER_S = 20.0
_TOO_SHORT_BELOW_S = 25.0
# Of one core, in half a second: a window that only waits for keys takes less.
_IDLE_CPU_S = 0.03

needs_command = pytest.mark.skipif(
    shutil.which("dawnbeat", path=str(Path(sys.executable).parent)) is None,
    reason="the command dawnbeat is not installed beside this Python",
)


class Window:
    """The process of the program; what it wrote to its two outputs is kept in files, so that no pipe can fill."""

    def __init__(self, home: Path, environment: dict[str, str]) -> None:
        self.home = home
        self._out, self._err = home.parent / "stdout.txt", home.parent / "stderr.txt"
        with self._out.open("wb") as out, self._err.open("wb") as err:
            self.process = subprocess.Popen(
                [str(Path(sys.executable).with_name("dawnbeat"))],
                env={**environment, "DAWNBEAT_HOME": str(home)},
                cwd=home.parent,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=err,
            )

    @property
    def said(self) -> str:
        """All that it wrote, to either output."""
        return self._out.read_text(errors="replace") + self._err.read_text(errors="replace")

    def choice(self, name: str) -> object:
        """One of the choices that the window keeps on disk, None while it is not written."""
        return json.loads((self.home / "window.json").read_text(encoding="utf-8")).get(name)

    def captured_s(self) -> float:
        """How much of a reading is on the disk already; 0 before it runs."""
        for path in (self.home / "recordings").rglob("trace.csv"):
            rows = path.read_text(encoding="ascii").split("\n")[1:-1]  # the last may be half written
            return float(rows[-1].split(",")[0]) if rows else 0.0
        return 0.0

    def readings(self) -> list[StoredReading]:
        """What the journal holds now."""
        with Journal.open(self.home) as journal:
            return journal.readings()

    def until(self, what: str, true: Callable[[], object], within_s: float) -> None:
        """Wait for something; fails where it doesn't come, or where the program has ended."""
        until_s = time.monotonic() + within_s
        while not true():
            assert self.process.poll() is None, f"the program ended while waiting until {what}: {self.said}"
            assert time.monotonic() < until_s, f"not within {within_s:.0f} s: {what}. {self.said}"
            time.sleep(0.1)

    def until_idle(self) -> None:
        """Wait until it has nothing to do but to wait for keys."""
        before_s = [self._cpu_s()]

        def idle() -> bool:
            time.sleep(0.5)
            used_s = self._cpu_s() - before_s[0]
            before_s[0] += used_s
            return used_s <= _IDLE_CPU_S

        self.until("it is idle", idle, 20.0)

    def _cpu_s(self) -> float:
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")  # in user mode, in the kernel


@contextmanager
def running(home: Path, environment: dict[str, str]) -> Iterator[Window]:
    """Start the program; a test that fails leaves no process behind."""
    window = Window(home, environment)
    try:
        yield window
    finally:
        if window.process.poll() is None:
            window.process.kill()
        with suppress(subprocess.TimeoutExpired):
            window.process.wait(10)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="X11 is the screen of Linux")
@needs_xvfb
@needs_xdotool
@needs_command
def test_a_reading_on_a_real_screen_is_taken_stopped_noted_and_kept_by_keys_alone(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir(mode=0o700)
    started = datetime.now().astimezone()
    with xvfb() as display, finger_stream(_SEED, _RATE_HZ, 120.0) as address:
        choices = {"source": "stream", "stream": address, "duration_s": 60}
        (home / "window.json").write_text(json.dumps(choices), encoding="utf-8")
        with running(home, x11_environment(display, tmp_path / "runtime")) as window:
            take_a_reading(window, Keyboard(display))
            assert window.process.wait(15) == 0, window.said
    assert window.said == ""  # Qt's complaints go to stderr, and so would a traceback

    with Journal.open(home) as journal:
        (reading,) = journal.readings()
        assert journal.orphans() == []
        assert journal.bin() == []
    assert started - timedelta(seconds=1) < reading.began < started + timedelta(seconds=60)
    assert _STOPPED_AFTER_S <= reading.duration_s < _TOO_SHORT_BELOW_S
    assert not reading.verdict.usable
    (finding,) = reading.verdict.findings
    assert finding.code == "too_short"
    assert finding.values == pytest.approx({"duration_s": reading.duration_s, "needed_s": _TOO_SHORT_BELOW_S})
    assert reading.metrics.mean_hr_bpm == pytest.approx(quiet_morning(_SEED).rhythm.mean_hr_bpm, abs=3.0)
    assert reading.posture == "sitting"
    assert reading.camera == f"stream {address}"
    assert reading.context == Context(sleep=5, hours_slept=6.5, alcohol=True, note="invented: 2 short naps")

    assert reading.recording is not None
    recording = read_recording(home / reading.recording)
    assert recording.notes == ()
    assert recording.about["finished"] is True
    assert recording.about["posture"] == "sitting"
    assert recording.trace.duration_s == pytest.approx(reading.duration_s, abs=1e-3)
    assert recording.trace.time_s.size == pytest.approx(_RATE_HZ * reading.duration_s, rel=0.1)
    red, green, blue = np.median(recording.trace.colour, axis=0)
    assert red > 2 * max(green, blue)  # a lit finger, as it was sent


def take_a_reading(window: Window, keyboard: Keyboard) -> None:
    """From the first words to the closed window."""
    keyboard.window("Before the first reading")
    keyboard.press("Return")
    window.until("the first words count as read", lambda: window.choice("met"), 5.0)

    keyboard.window("^Dawnbeat$")
    keyboard.press("Tab", "Tab", "Tab", "Tab", "Right")  # past phone, file and length, to the posture
    window.until("the posture is chosen", lambda: window.choice("posture") == "sitting", 5.0)

    keyboard.press("b")
    window.until("the reading runs", lambda: window.captured_s() > 0.0, 40.0)
    window.until("enough is captured", lambda: window.captured_s() >= _STOPPED_AFTER_S, _STOPPED_AFTER_S + 10.0)
    keyboard.press("space", "e", "s")  # a space ends nothing
    window.until("the reading is saved", window.readings, 15.0)
    window.until_idle()

    # "Measure again" has the keys; before it come "Done" and, from its end, the form.
    keyboard.press("shift+Tab", "shift+Tab")
    keyboard.type("invented: 2 short naps")
    keyboard.press("shift+Tab", "shift+Tab", "y")  # alcohol
    keyboard.press("shift+Tab", "shift+Tab")
    keyboard.type("6.5")  # hours slept
    keyboard.press("shift+Tab", "shift+Tab", "shift+Tab", "shift+Tab", "5")  # sleep
    keyboard.press("shift+Tab", "d")
    window.until("the note is kept", lambda: not window.readings()[0].context.is_empty, 10.0)
    keyboard.press("ctrl+q")
