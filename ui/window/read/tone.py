"""A soft tone at the start, at every pause and at the end of a reading, so that the eyes may stay closed.

Qt's own sound lies in a package that Dawnbeat does without, so the tone goes through the player that the
system brings. Where there is none, it stays quiet: a reading never fails for a tone.
"""

from __future__ import annotations

import atexit
import contextlib
import io
import os
import shutil
import subprocess
import sys
import tempfile
import wave
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Which = Literal["start", "pause", "end"]

RATE_HZ = 44_100
_LOUDNESS = 0.18
# Rising for the start, falling for the end, the same twice for a pause: in Hz, each for a third of a second.
_NOTES: dict[Which, tuple[float, float]] = {
    "start": (392.0, 523.25),
    "pause": (392.0, 392.0),
    "end": (523.25, 392.0),
}
_NOTE_S = 0.34
_PLAYERS = {"darwin": (("afplay",),)}
_ELSEWHERE = (("paplay",), ("pw-play",), ("aplay", "-q"))


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
    for command in _PLAYERS.get(platform, _ELSEWHERE):
        found = shutil.which(command[0])
        if found:
            return (found, *command[1:])
    return None


class Tone:
    """Plays the tones; never waits and never raises."""

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
