from __future__ import annotations

from pathlib import Path

import pytest

from dawnbeat.capture.camera import CameraSource
from dawnbeat.capture.controls import LOCKED, NOT_OFFERED
from dawnbeat.capture.devices import list_cameras
from dawnbeat.shared.errors import DawnbeatError
from tests.capture import fakes
from tests.capture.fakes import FakeCapture, FakeClock


def node(sysfs: Path, number: int, name: str, index: int = 0) -> None:
    folder = sysfs / f"video{number}"
    folder.mkdir()
    (folder / "name").write_text(name + "\n")
    (folder / "index").write_text(f"{index}\n")


def test_each_camera_is_listed_with_what_it_really_does(tmp_path: Path) -> None:
    node(tmp_path, 0, "Invented Webcam: one")
    node(tmp_path, 1, "Invented Webcam: one", index=1)  # its metadata
    node(tmp_path, 10, "Another\x07")
    clock = FakeClock()
    captures: dict[int, FakeCapture] = {}

    def open_camera(index: int) -> CameraSource:
        captures[index] = FakeCapture(clock, jitter_ms=3.0, missing=frozenset({fakes.AUTOFOCUS}))
        return CameraSource(
            index,
            open_capture=lambda i: captures[i],
            monotonic=clock,
            sleep=clock.sleep,
            platform="linux",
        )

    found = list_cameras(open_camera=open_camera, platform="linux", sysfs=tmp_path, monotonic=clock)
    assert [(camera.index, camera.name) for camera in found] == [
        (0, "Invented Webcam: one"),
        (10, "Another?"),
    ]
    camera = found[0]
    assert (camera.width, camera.height, camera.problem) == (64, 48, None)
    assert camera.rate_hz == pytest.approx(30.0, rel=0.1)
    assert camera.jitter_ms == pytest.approx(3.95, abs=0.5)  # steps between frames that swing by 3 ms
    assert camera.locks["exposure"] == LOCKED
    assert camera.locks["focus"] == NOT_OFFERED
    assert all(capture.released for capture in captures.values())


def test_a_camera_that_cannot_be_used_says_why(tmp_path: Path) -> None:
    node(tmp_path, 3, "Busy")

    def refuse(index: int) -> CameraSource:
        raise DawnbeatError(f"camera {index} can't be opened")

    (camera,) = list_cameras(open_camera=refuse, platform="linux", sysfs=tmp_path)
    assert (camera.index, camera.rate_hz, camera.problem) == (3, None, "camera 3 can't be opened")


@pytest.mark.parametrize("platform", ["linux", "win32", "darwin"])
def test_without_a_camera_the_list_is_empty(tmp_path: Path, platform: str) -> None:
    def refuse(index: int) -> CameraSource:
        raise DawnbeatError("there is none")

    assert list_cameras(open_camera=refuse, platform=platform, sysfs=tmp_path / "nowhere") == []
