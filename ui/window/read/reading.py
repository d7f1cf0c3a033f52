"""A reading that goes on: the time left, the pulse and its wave, gentle words, and tones for closed eyes."""

from __future__ import annotations

import atexit
import contextlib
import functools
import io
import math
import os
import shutil
import subprocess
import sys
import tempfile
import wave
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QProgressBar, QSizePolicy, QStackedWidget, QWidget

from dawnbeat.morning.background import LiveFigures
from dawnbeat.morning.flow import Plan
from dawnbeat.morning.reading_text import REHEARSAL, clock, gentle, phase_title
from dawnbeat.morning.taking import Snapshot
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import label, named, restyle, reword, say_in
from dawnbeat.ui.window.parts.layouts import column_of, row_of, stack
from dawnbeat.ui.window.parts.theme import Painted
from dawnbeat.ui.window.read.finger import NO_PICTURE, ON_PHONE, ContactPanel, above_buttons, fit_foot, is_small

if TYPE_CHECKING:
    from dawnbeat.signal.live import LiveView

WAVE_SPAN_S = 8.0
# Beats are found anew every half second; drawn so much late, the wave flows instead of jumping.
WAVE_LAG_S = 0.7
_UNSETTLED_S = 2.5
_CLOCK_TIMES = 5.0
_STEPS = 1000
# Words that come and go faster than this can't be read.
_WORDS_STAY_S = 2.5
Which = Literal["start", "pause", "end"]
# On a button, its key, and its tooltip.
_STOP = "Stop and save", "S", "End the reading, and save what was captured"
_DISCARD = "Discard", "X", "End the reading, and delete what was captured"
_STOP_REHEARSAL = "Stop and show", "S", "End the rehearsal, and show what it gave; nothing of it is saved"
_LEAVE_REHEARSAL = "Go back", "X", "End the rehearsal, and go back without seeing what it gave"

RATE_HZ = 44_100
_LOUDNESS = 0.18
# Rising for the start, falling for the end, the same twice for a pause: in Hz, each for a third of a second.
_NOTES: dict[Which, tuple[float, float]] = {
    "start": (392.0, 523.25),
    "pause": (392.0, 392.0),
    "end": (523.25, 392.0),
}
_NOTE_S = 0.34
_PLAYERS = (("paplay",), ("pw-play",), ("aplay", "-q"))


class LiveWave(Painted):
    """The pulse wave of the last seconds, flowing to the left, with its beats."""

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__(context, "Live pulse wave")
        self._figures = figures
        self._view: LiveView | None = None
        self._now_s = 0.0
        self._height = 0.0
        self._arrived_s: float | None = None
        self.setMinimumHeight(110)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_moment(self, view: LiveView | None, now_s: float, arrived_s: float) -> None:
        """now_s: time of the newest frame on the wave's clock."""
        self._view, self._now_s, self._arrived_s = view, now_s, arrived_s
        self.update()

    def clear(self) -> None:
        """Forget the wave."""
        self._view, self._height, self._arrived_s = None, 0.0, None
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """A line, a dot at each beat, a tick each second; a beat that may still move is hollow."""
        painter = self.painter()
        room = self.sheet(painter)
        if self._view is None:
            self.words_in(painter, room, "The pulse shows here after a few seconds")
        else:
            self._draw_wave(painter, room, self._view)
        painter.end()
        if self._arrived_s is not None:
            self._figures.was_painted(self._arrived_s)
            self._arrived_s = None

    def _draw_wave(self, painter: QPainter, room: QRectF, view: LiveView) -> None:
        theme = self.context.theme
        right_s = self._now_s - WAVE_LAG_S
        left_s = right_s - WAVE_SPAN_S
        rows = slice(*np.searchsorted(view.wave.time_s, (left_s, right_s)).tolist())
        time_s, value = view.wave.time_s[rows], view.wave.value[rows]
        if time_s.size < 2:
            return
        wanted = float(np.percentile(np.abs(value), 98)) or 1.0
        # The scale follows slowly, so that the wave does not pump.
        self._height = wanted if self._height <= 0 else self._height + 0.05 * (wanted - self._height)
        middle, half = room.center().y(), room.height() * 0.40
        x = room.left() + (time_s - left_s) / WAVE_SPAN_S * room.width()
        y = middle - np.clip(value / self._height, -1.15, 1.15) * half
        painter.setPen(QPen(theme.colour("ink"), theme.px(2)))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        breaks = np.flatnonzero(np.diff(time_s) > 0.25) + 1
        for xs, ys in zip(np.split(x, breaks), np.split(y, breaks), strict=True):
            painter.drawPolyline(QPolygonF([QPointF(a, b) for a, b in zip(xs.tolist(), ys.tolist(), strict=True)]))
        self._draw_seconds(painter, room, left_s)
        beats_s = view.beats_s[(view.beats_s > left_s) & (view.beats_s < right_s)]
        radius = theme.px(5)
        painter.setPen(QPen(theme.colour("accent"), theme.px(2)))
        for beat_s, height in zip(beats_s.tolist(), np.interp(beats_s, time_s, y).tolist(), strict=True):
            settled = beat_s < view.time_s - _UNSETTLED_S
            painter.setBrush(theme.colour("accent") if settled else theme.colour("sheet"))
            painter.drawEllipse(
                QPointF(room.left() + (beat_s - left_s) / WAVE_SPAN_S * room.width(), height), radius, radius
            )

    def _draw_seconds(self, painter: QPainter, room: QRectF, left_s: float) -> None:
        """A tick each second, moving with the wave."""
        theme = self.context.theme
        painter.setPen(QPen(theme.colour("soft"), theme.px(1)))
        first = math.ceil(left_s)
        for second in range(first, first + round(WAVE_SPAN_S)):
            x = room.left() + (second - left_s) / WAVE_SPAN_S * room.width()
            painter.drawLine(QPointF(x, room.bottom() - theme.px(8)), QPointF(x, room.bottom()))


class ReadingView(View):
    """While a reading goes on. back: it is not wanted after all. stop, discard: end it, and keep or delete it.

    Whatever ends a reading never has the focus, and asks: a Space in half sleep must not cost a morning.
    """

    back = Signal()
    stop = Signal()
    discard = Signal()

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__(context)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("The reading that goes on")
        give = functools.partial(controls.button, where="Read")
        self.phase = label("title", "Phase")
        self.remaining = label("", "Time left", wraps=False)
        self.pulse = label("figure", "Pulse now", wraps=False)
        self.kept = label("large", "Share of beats kept", wraps=False)
        self.wave = LiveWave(context, figures)
        self.panel = ContactPanel(context, figures)
        self.middle = QStackedWidget()
        self.middle.addWidget(self.wave)
        self.middle.addWidget(self.panel)
        self.words = label("title", "How it goes", wraps=True)
        self.bar = named(QProgressBar(), "Share of the time that is done")
        self.bar.setRange(0, _STEPS)
        self.bar.setTextVisible(False)
        self.rehearsal = label("soft", "", REHEARSAL)
        self.back_button = give("Go back", "Esc", "Go back without a reading", self.back.emit)
        self.end_button = give("End it…", "E", "End the reading early; asks first", lambda: self._ask(True))
        self.question = label("large", "Question")
        self.go_on = give("Go on", "G", "Let the reading go on", lambda: self._ask(False), main=True)
        self.stop_button = give(*_STOP, self.stop.emit)
        self.discard_button = give(*_DISCARD, self.discard.emit)
        self._buttons = (self.back_button, self.end_button, self.go_on, self.stop_button, self.discard_button)
        for each in (self.back_button, self.end_button):
            each.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._asking = False
        self._settling = True
        self._said_s = -math.inf
        self._word_ending(False)
        self._lay_out()
        self.arrange()
        self._ask(False)

    @property
    def main(self) -> QWidget:
        """What has the focus: nothing that ends the reading."""
        return self.go_on if self._asking else self

    def begin(self, rehearsing: bool, on_phone: bool = False) -> None:
        """Before the first moment. on_phone: whether the picture stays on a phone."""
        self.wave.clear()
        self.panel.clear(ON_PHONE if on_phone else NO_PICTURE)
        self._said_s = -math.inf
        self.rehearsal.setVisible(rehearsing)
        self._word_ending(rehearsing)
        for each in self._buttons:
            each.setEnabled(True)
        self._settling = True
        self._ask(False)

    def _word_ending(self, rehearsing: bool) -> None:
        """Say of each way to end what really happens: nothing of a rehearsal is saved."""
        say_in(self.question, f"End the {'rehearsal' if rehearsing else 'reading'} now?")
        reword(self.stop_button, *(_STOP_REHEARSAL if rehearsing else _STOP))
        reword(self.discard_button, *(_LEAVE_REHEARSAL if rehearsing else _DISCARD))

    def show_moment(self, moment: Snapshot, plan: Plan) -> None:
        """Show the newest frame."""
        settling, paused = moment.phase == "settling", moment.phase == "paused"
        if settling != self._settling:
            self._settling = settling
            self._ask(False)
        left_s = plan.settle_s - moment.settled_s if settling else moment.remaining_s
        of_s = plan.settle_s if settling else plan.duration_s
        say_in(self.phase, phase_title(moment.phase))
        say_in(self.remaining, clock(math.ceil(max(0.0, left_s))))
        self.bar.setValue(round(_STEPS * (1.0 - max(0.0, left_s) / max(of_s, 1e-9))))
        live = moment.live
        pulse = None if live is None or paused else live.pulse_bpm
        say_in(self.pulse, "– bpm" if pulse is None else f"{pulse:.0f} bpm")
        share = moment.kept_share
        say_in(self.kept, "" if settling or share is None else f"{100 * share:.0f} % of beats kept")
        self._say(gentle(moment), moment)
        self.middle.setCurrentWidget(self.panel if paused else self.wave)
        if paused:
            self.panel.show_moment(moment)
        else:
            self.wave.show_moment(live, moment.time_s, moment.arrived_s)

    def say(self, words: str) -> None:
        """Say something while no frames come."""
        say_in(self.words, words)

    def working(self) -> None:
        """The frames are over, and the beats are being looked at."""
        say_in(self.phase, "Looking at the beats…")
        say_in(self.words, "You may lift the finger.")
        self._ask(False)
        for each in self._buttons:
            each.setEnabled(False)

    def _ask(self, asking: bool) -> None:
        self._asking = asking
        self.back_button.setVisible(self._settling)
        self.end_button.setVisible(not self._settling and not asking)
        for each in (self.question, self.go_on, self.stop_button, self.discard_button):
            each.setVisible(asking)
        if self.isVisible():
            self.main.setFocus()

    def _say(self, words: str, moment: Snapshot) -> None:
        if words == self.words.text():
            return
        # The pause counts down in its own words, and must not wait for anything.
        if moment.phase == "paused" or moment.arrived_s - self._said_s >= _WORDS_STAY_S:
            self._said_s = moment.arrived_s
            say_in(self.words, words)

    def arrange(self) -> None:
        """A smaller clock, and the words above the wave, where there is little room."""
        theme, small = self.context.theme, is_small(self)
        self.remaining.setStyleSheet(f"font-size: {theme.pt(_CLOCK_TIMES / (2 if small else 1)):.1f}pt;")
        self.words.setMinimumHeight(theme.px(0 if small else 64))
        self.bar.setVisible(not small)
        restyle("large" if small else "figure", self.pulse)
        restyle("large" if small else "title", self.words)
        restyle("" if small else "large", self.kept, self.question)
        fit_foot(self._foot, small)
        self._column.setContentsMargins(*((16, 12, 16, 4) if small else (36, 24, 36, 8)))
        # What calls the finger back must be in sight without scrolling.
        before = self.middle if small else self.rehearsal
        self._column.removeWidget(self.words)
        self._column.insertWidget(self._column.indexOf(before), self.words)

    def _lay_out(self) -> None:
        for each in (self.pulse, self.kept):
            each.setAlignment(Qt.AlignmentFlag.AlignRight)
        left = column_of(self.phase, self.remaining, gap=0)
        top = row_of((left, 1), (column_of(self.pulse, self.kept, None, gap=4), 1))
        inside, parts = QWidget(), (top, self.bar, (self.middle, 1), self.words, self.rehearsal)
        self._column = stack(inside, *parts, gap=14)
        self._foot = above_buttons(self, inside, *self._buttons, words=self.question)


def samples_of(which: Which) -> NDArray[np.int16]:
    """The tone as 16-bit samples: two sines that swell and fade, so that nothing clicks."""
    time_s = np.arange(round(_NOTE_S * RATE_HZ)) / RATE_HZ
    swell = np.sin(np.pi * time_s / _NOTE_S) ** 2
    notes = [swell * np.sin(2 * np.pi * frequency_hz * time_s) for frequency_hz in _NOTES[which]]
    return np.round(32767 * _LOUDNESS * np.concatenate(notes)).astype(np.int16)


def wav_of(which: Which) -> bytes:
    """The tone as a WAV file."""
    packed = io.BytesIO()
    with wave.open(packed, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(samples_of(which).astype("<i2").tobytes())
    return packed.getvalue()


def player(platform: str = sys.platform) -> tuple[str, ...] | None:
    """The command that plays a WAV file on this system; empty on Windows, which needs none; None without."""
    if platform == "win32":
        return ()
    for command in (("afplay",),) if platform == "darwin" else _PLAYERS:
        found = shutil.which(command[0])
        if found:
            return (found, *command[1:])
    return None


class Tone:
    """A soft tone at the start, at every pause and at the end, so that the eyes may stay closed.

    Qt's own sound lies in a package that Dawnbeat does without, so the tone goes through the player that the system
    brings; where there is none, it stays quiet. It never waits and never raises: no reading fails for a tone.
    """

    def __init__(self) -> None:
        self._player = player()
        self._folder: Path | None = None
        self._playing: subprocess.Popen[bytes] | None = None

    @property
    def available(self) -> bool:
        """Whether anything will be heard."""
        return self._player is not None

    def play(self, which: Which) -> None:
        """Play one tone, in place of one that may still sound."""
        if self._player is None:
            return
        with contextlib.suppress(OSError, RuntimeError, ValueError):
            path = self._file(which)
            if sys.platform == "win32":
                import winsound

                winsound.PlaySound(str(path), winsound.SND_FILENAME | winsound.SND_ASYNC)
                return
            self.stop()
            self._playing = subprocess.Popen(
                [*self._player, str(path)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )

    def stop(self) -> None:
        """End a tone that still sounds."""
        playing, self._playing = self._playing, None
        if playing is not None:
            with contextlib.suppress(OSError, subprocess.TimeoutExpired):
                if playing.poll() is None:
                    playing.terminate()
                playing.wait(0.2)

    def _file(self, which: Which) -> Path:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix=f"dawnbeat-tone-{os.getpid()}-"))
            atexit.register(shutil.rmtree, self._folder, ignore_errors=True)
        path = self._folder / f"{which}.wav"
        if not path.exists():
            path.write_bytes(wav_of(which))
        return path
