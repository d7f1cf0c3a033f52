"""A session in the terminal: a bar, the contact, and the pulse while it comes."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from dawnbeat.capture.frames import FrameSource
from dawnbeat.capture.recorder import Recorder, about_recording
from dawnbeat.capture.session import Moment, SessionResult, run_session
from dawnbeat.signal.live import LiveBeats

_REFRESH_EVERY_S = 0.25


def record_session(
    source: FrameSource,
    out: Path,
    seconds: float,
    settle_s: float,
    *,
    video: bool = False,
    beats: LiveBeats | None = None,
    began: datetime | None = None,
) -> SessionResult:
    """Run one session into a recording in the folder `out`, with a progress bar on standard error.

    beats: finds the pulse while frames come, or None to only record. Ctrl+C stops the session and keeps what there
    is. Raises DawnbeatError when the recording can't be written.
    """
    with Recorder(out, about_recording(source.about, began=began), video=video) as recorder:
        result = _run_with_progress(source, recorder, seconds, settle_s, beats)
        recorder.close(dropped=result.dropped, facts={"controls": dict(source.about.controls)})
    return result


def _run_with_progress(
    source: FrameSource, recorder: Recorder, seconds: float, settle_s: float, beats: LiveBeats | None
) -> SessionResult:
    console = Console(stderr=True)
    bar = Progress(
        TextColumn("{task.description:<11}"),
        BarColumn(bar_width=24),
        TextColumn("{task.completed:>4.0f} of {task.total:.0f} s"),
        TextColumn("{task.fields[note]}"),
        console=console,
        transient=False,
        disable=not console.is_terminal,
    )
    settling = _Settling(settle_s)
    with bar:
        task = bar.add_task("settling" if settle_s > 0 else "reading", total=settle_s or seconds, note="")
        shown_s = [-1e9]

        def show(moment: Moment) -> None:
            sample = moment.sample
            if moment.kept and beats is not None:
                beats.add(sample.time_s, sample.red, sample.green, sample.blue)
            lain_s = settling.lain_s(moment)
            if abs(sample.time_s - shown_s[0]) < _REFRESH_EVERY_S:
                return
            shown_s[0] = sample.time_s
            note = _pulse_words(beats) if moment.kept and moment.contact.good else moment.contact.advice
            if moment.kept:
                bar.update(task, description="reading", total=seconds, completed=sample.time_s, note=note)
            else:
                bar.update(task, description="settling", completed=lain_s, note=note)

        with _stoppable() as stop:
            return run_session(source, seconds=seconds, recorder=recorder, on_sample=show, settle_s=settle_s, stop=stop)


class _Settling:
    """Counts, as the session does, for how long the finger has lain well without a break."""

    def __init__(self, settle_s: float) -> None:
        self._settle_s = settle_s
        self._good_since_s: float | None = None

    def lain_s(self, moment: Moment) -> float:
        """Seconds that the finger has lain well, up to those that are asked for."""
        time_s = moment.sample.time_s
        if not moment.contact.good:
            self._good_since_s = None
        elif self._good_since_s is None:
            self._good_since_s = time_s
        return 0.0 if self._good_since_s is None else min(time_s - self._good_since_s, self._settle_s)


def _pulse_words(beats: LiveBeats | None) -> str:
    if beats is None or beats.view is None or beats.view.pulse_bpm is None:
        return ""
    view = beats.view
    kept = "" if view.kept_share is None else f", {100 * view.kept_share:.0f} % of beats kept"
    moved = ": hold still" if view.last_left_out == "movement" else ""
    return f"pulse {view.pulse_bpm:.0f} bpm{kept}{moved}"


@contextmanager
def _stoppable() -> Iterator[threading.Event]:
    """An event that a first Ctrl+C sets, so that the session ends by itself and keeps what it has."""
    import signal

    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return

    def ask(number: int, frame: object) -> None:
        stop.set()

    before: Callable[..., object] | int | None = signal.signal(signal.SIGINT, ask)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
        sys.stderr.flush()
