from __future__ import annotations

import io
import subprocess
import wave
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.ui.window.read import reading
from dawnbeat.ui.window.read.reading import RATE_HZ, Tone


@pytest.mark.parametrize("which", ["start", "end"])
def test_the_tone_is_short_soft_and_does_not_click(which: reading.Which) -> None:
    with wave.open(io.BytesIO(reading.wav_of(which))) as file:
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").astype(float)
        assert file.getframerate() == RATE_HZ
    assert 0.3 < samples.size / RATE_HZ < 1.0
    assert np.abs(samples).max() < 0.2 * 32767
    assert abs(samples[0]) < 2
    assert abs(samples[-1]) < 2
    assert np.abs(np.diff(samples)).max() < 600


def test_the_start_rises_and_the_end_falls() -> None:
    def pitch(samples: np.ndarray) -> float:
        return float(np.abs(np.fft.rfft(samples)).argmax()) / samples.size

    for which, rises in (("start", True), ("end", False)):
        first, second = np.split(reading.samples_of(which), 2)  # type: ignore[arg-type]
        assert (pitch(second) > pitch(first)) is rises


def test_without_a_player_nothing_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "player", lambda: None)
    quiet = Tone()
    assert not quiet.available
    quiet.play("start")


def test_a_player_that_fails_does_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "player", lambda: ("/nowhere/player",))
    Tone().play("start")


def test_the_file_goes_to_the_player(monkeypatch: pytest.MonkeyPatch) -> None:
    commands: list[list[str]] = []

    class Played:
        def __init__(self, command: list[str], **_: object) -> None:
            commands.append(command)

        def poll(self) -> int:
            return 0

        def wait(self, _timeout_s: float) -> int:
            return 0

    monkeypatch.setattr(reading, "player", lambda: ("player", "-q"))
    monkeypatch.setattr(subprocess, "Popen", Played)
    played = Tone()
    played.play("start")
    played.play("end")
    assert [command[:2] for command in commands] == [["player", "-q"]] * 2
    assert Path(commands[0][2]).read_bytes() == reading.wav_of("start")
