from __future__ import annotations

import pytest

from dawnbeat.capture import camera
from dawnbeat.capture.camera import CameraAbout
from tests.ui.command_line import CommandLine


def test_without_a_camera_the_answer_says_how_to_go_on(cli: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(camera, "list_cameras", lambda seconds: [])
    out = cli("cameras").fine()
    assert "No camera found" in out
    assert "dawnbeat read --source rehearsal" in out


def test_cameras_are_listed_with_pace_locks_and_problems(cli: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    asked_s = []

    def two(seconds: float) -> list[CameraAbout]:
        asked_s.append(seconds)
        locks = {"exposure": "locked", "focus": "not offered"}
        return [
            CameraAbout(0, "Lens [left]", 640, 480, 29.97, 3.14159, locks),
            CameraAbout(2, "Broken lens", problem="another program uses it: close it"),
        ]

    monkeypatch.setattr(camera, "list_cameras", two)
    out = cli("cameras", "--seconds", 1.5).fine()
    assert asked_s == [1.5]
    for words in ("Lens [left]", "640 x 480", "30.0", "3.1", "exposure: locked", "focus: not offered"):
        assert words in out
    assert "another program uses it" in out


@pytest.mark.parametrize("seconds", ["0", "-1", "nan", "1000"])
def test_a_camera_is_measured_for_seconds_within_reason(cli: CommandLine, seconds: str) -> None:
    assert f"--seconds {seconds} is out of range: give 0.5 to 30" in cli("cameras", "--seconds", seconds).refused()
