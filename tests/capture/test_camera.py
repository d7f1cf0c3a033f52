from __future__ import annotations

import itertools
import threading
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.camera import LOCKED, NOT_OFFERED, NOT_TAKEN, CameraSource, list_cameras
from dawnbeat.capture.frames import Frame
from dawnbeat.shared.errors import DawnbeatError
from tests.capture import fakes
from tests.capture.fakes import FakeCapture, FakeClock


def camera(capture: FakeCapture, platform: str = "linux") -> CameraSource:
    return CameraSource(
        0,
        open_capture=lambda index: capture,
        monotonic=capture.clock,
        sleep=capture.clock.sleep,
        platform=platform,
    )


def take(source: CameraSource, count: int) -> list[Frame]:
    return list(itertools.islice(source.frames(), count))


def rate_hz(source: CameraSource) -> float:
    return 1.0 / float(np.median(np.diff([frame.time_s for frame in take(source, 20)])))


def test_frame_times_are_the_drivers_own_and_start_at_zero() -> None:
    capture = FakeCapture(FakeClock(), delay_s=lambda number: 0.002 + 0.012 * (number % 3 == 0))
    source = camera(capture)
    first = capture.number + 1
    frames = take(source, 100)
    true_s = np.array([capture.true_time_s(first + i) for i in range(100)])
    assert frames[0].time_s == 0.0
    np.testing.assert_allclose([frame.time_s for frame in frames], true_s - true_s[0], atol=1e-6)
    assert source.about.controls["frame times"] == "the driver's own"
    assert source.about.live


@pytest.mark.parametrize("driver", ["none", "counted"])
def test_without_believable_driver_times_the_clock_at_the_grab_counts(driver: str) -> None:
    capture = FakeCapture(FakeClock(), driver=driver)
    source = camera(capture)
    frames = take(source, 60)
    steps_s = np.diff([frame.time_s for frame in frames])
    assert abs(np.mean(steps_s) - 1 / 30) < 0.001
    assert np.std(steps_s) > 1e-4  # the true jitter, which a counter of frames would hide
    assert source.about.controls["frame times"].startswith("clock at the grab")


def test_a_driver_clock_that_breaks_mid_way_makes_no_jump() -> None:
    capture = FakeCapture(FakeClock(), driver_fault=lambda number, value: value if number < 90 else value - 40.0)
    source = camera(capture)
    steps_s = np.diff([frame.time_s for frame in take(source, 120)])
    assert steps_s.min() > 0.02
    assert steps_s.max() < 0.05
    assert "went back" in source.about.controls["frame times"]


def test_sixty_frames_a_second_are_kept_where_the_camera_gives_them() -> None:
    capture = FakeCapture(FakeClock(), max_rate_hz=60.0)
    source = camera(capture)
    assert rate_hz(source) == pytest.approx(60.0, rel=0.05)
    assert source.about.nominal_rate_hz == 60.0
    assert (fakes.FPS, 30.0) not in capture.asked
    assert all(prop != fakes.FOURCC for prop, _ in capture.asked)


def test_compressed_frames_are_asked_for_where_plain_ones_come_slower() -> None:
    capture = FakeCapture(FakeClock(), max_rate_hz=60.0, plain_rate_hz=30.0)
    assert rate_hz(camera(capture)) == pytest.approx(60.0, rel=0.05)
    assert capture.values[fakes.FOURCC] == fakes.MJPG


def test_a_promise_of_sixty_that_is_not_kept_falls_back_to_thirty() -> None:
    capture = FakeCapture(FakeClock(), max_rate_hz=60.0, real_rate_hz=30.0)
    source = camera(capture)
    assert source.about.nominal_rate_hz == 30.0
    assert rate_hz(source) == pytest.approx(30.0, rel=0.05)


def test_thirty_are_asked_for_where_sixty_do_not_come() -> None:
    capture = FakeCapture(FakeClock(), max_rate_hz=30.0)
    source = camera(capture)
    assert rate_hz(source) == pytest.approx(30.0, rel=0.05)
    assert capture.asked[-1] == (fakes.FPS, 30.0)
    assert capture.values[fakes.FOURCC] == fakes.YUYV  # plain frames again, once they are fast enough


def test_lost_frames_are_counted_and_leave_a_gap() -> None:
    capture = FakeCapture(FakeClock(), lost=frozenset({60, 61, 80}))
    frames = take(camera(capture), 90)
    counted = [frame.dropped_before for frame in frames if frame.dropped_before]
    assert counted == [2, 1]
    assert np.diff([frame.time_s for frame in frames]).max() == pytest.approx(0.1, abs=0.006)


def test_a_camera_that_vanishes_says_so_after_what_it_gave() -> None:
    capture = FakeCapture(FakeClock(), ends_after=80)
    source = camera(capture)
    got: list[Frame] = []
    frames = source.frames()
    got.extend(next(frames) for _ in range(80 - 35))
    with pytest.raises(DawnbeatError, match="camera 0 stopped sending frames"):
        next(frames)
    assert len(got) == 80 - 35  # without those that nobody keeps
    source.close()
    source.close()
    assert capture.released


def test_closing_while_the_driver_holds_the_reader_leaves_the_release_to_it() -> None:
    capture = FakeCapture(FakeClock())
    source = camera(capture)
    frames = source.frames()
    next(frames)
    held, free = threading.Event(), threading.Event()
    grab = capture.grab

    def held_up() -> bool:
        held.set()
        free.wait(10)
        return grab()

    capture.grab = held_up  # type: ignore[method-assign]
    reader = threading.Thread(target=lambda: list(frames))
    reader.start()
    assert held.wait(10)
    source.close()
    assert not capture.released
    free.set()
    reader.join(10)
    assert capture.released


def test_a_camera_without_frames_is_refused_and_let_go() -> None:
    capture = FakeCapture(FakeClock(), ends_after=0)
    with pytest.raises(DawnbeatError, match="stopped sending frames"):
        camera(capture)
    assert capture.released


def test_a_camera_that_is_not_there_names_the_command_that_lists_them() -> None:
    capture = FakeCapture(FakeClock(), opened=False)
    with pytest.raises(DawnbeatError, match="dawnbeat cameras"):
        CameraSource(999, open_capture=lambda index: capture, platform="linux")
    assert capture.released


def test_settling_locks_every_control_and_reads_it_back() -> None:
    capture = FakeCapture(FakeClock())
    source = camera(capture)
    take(source, 5)
    assert "exposure" not in source.about.controls
    source.settle()
    take(source, 30)
    names = ("exposure", "gain", "white balance", "focus")
    assert [source.about.controls[name] for name in names] == [LOCKED] * 4
    assert capture.values[fakes.AUTO_EXPOSURE] == 1.0
    assert capture.values[fakes.EXPOSURE] == 156.0
    assert capture.values[fakes.AUTO_WB] == 0.0
    assert capture.values[fakes.AUTOFOCUS] == 0.0


def test_what_the_camera_refuses_is_said() -> None:
    capture = FakeCapture(
        FakeClock(), fixed=frozenset({fakes.AUTO_EXPOSURE}), missing=frozenset({fakes.AUTOFOCUS, fakes.GAIN})
    )
    source = camera(capture)
    source.settle()
    take(source, 5)
    controls = source.about.controls
    assert controls["exposure"] == NOT_TAKEN
    assert controls["gain"] == NOT_OFFERED
    assert controls["white balance"] == LOCKED
    assert controls["focus"] == NOT_OFFERED


def test_a_lock_that_darkens_the_picture_is_taken_back() -> None:
    capture = FakeCapture(
        FakeClock(), level=lambda capture: 50.0 if capture.values[fakes.AUTO_EXPOSURE] == 3.0 else 9.0
    )
    source = camera(capture)
    source.settle()
    take(source, 40)
    assert source.about.controls["exposure"] == NOT_TAKEN
    assert source.about.controls["white balance"] == LOCKED
    assert capture.values[fakes.AUTO_EXPOSURE] == 3.0


def test_where_the_switch_cannot_be_read_setting_the_value_locks() -> None:
    capture = FakeCapture(FakeClock())
    source = camera(capture, platform="win32")
    source.settle()
    take(source, 5)
    assert source.about.controls["exposure"] == LOCKED
    assert (fakes.EXPOSURE, 156.0) in capture.asked
    assert all(prop != fakes.AUTO_EXPOSURE for prop, _ in capture.asked)


def test_trying_the_locks_leaves_the_automatics_on() -> None:
    capture = FakeCapture(FakeClock())
    assert camera(capture).try_locks()["exposure"] == LOCKED
    assert capture.values[fakes.AUTO_EXPOSURE] == 3.0
    assert capture.values[fakes.AUTO_WB] == 1.0


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
