from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from dawnbeat.capture.recording import read_recording
from dawnbeat.capture.video_file import VideoFileSource
from dawnbeat.shared.errors import DawnbeatError
from tests.capture.scenes import as_frame, webcam_finger


def film(path: Path, frames: int = 60, rate_hz: float = 29.97, code: str = "MJPG") -> Path:
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*code), rate_hz, (160, 120))
    finger = webcam_finger(160, 120)
    for number in range(frames):
        writer.write(as_frame(finger * (1 + 0.01 * np.sin(number / 4)), number))
    writer.release()
    return path


@pytest.mark.parametrize(
    ("name", "code", "within_s"),
    [("a.avi", "MJPG", 1e-6), ("a.mp4", "mp4v", 1e-6), ("a.mkv", "MJPG", 0.0006)],
)
def test_frame_times_are_the_containers(tmp_path: Path, name: str, code: str, within_s: float) -> None:
    source = VideoFileSource(film(tmp_path / name, code=code))
    assert source.frame_count == 60
    frames = list(source.frames())
    source.close()
    np.testing.assert_allclose([frame.time_s for frame in frames], np.arange(60) / 29.97, atol=within_s)
    assert (source.about.width, source.about.height, source.about.live) == (160, 120, False)
    assert source.about.nominal_rate_hz == pytest.approx(29.97)


def test_given_times_replace_the_containers_and_end_with_the_last(tmp_path: Path) -> None:
    times_s = 5.0 + np.cumsum(np.random.default_rng(0).uniform(0.03, 0.04, 50))
    source = VideoFileSource(film(tmp_path / "a.avi"), times_s)
    np.testing.assert_allclose([frame.time_s for frame in source.frames()], times_s - 5.0 - (times_s[0] - 5.0))
    assert source.frame_count == 50


class Standing:
    """A container whose times stand still, go back, or are no numbers, over good frames."""

    def __init__(self, times_ms: list[float]) -> None:
        self.times_ms, self.at = times_ms, -1

    def isOpened(self) -> bool:  # noqa: N802
        return True

    def grab(self) -> bool:
        self.at += 1
        return self.at < len(self.times_ms)

    def retrieve(self) -> tuple[bool, np.ndarray]:
        return True, np.zeros((12, 16), dtype=np.uint8)

    def get(self, prop: int) -> float:
        return {0: self.times_ms[min(self.at, len(self.times_ms) - 1)], 5: 25.0}.get(prop, 0.0)

    def release(self) -> None:
        pass


@pytest.mark.parametrize(
    ("times_ms", "wanted_s"),
    [
        ([0, 0, 0, 0], [0, 0.04, 0.08, 0.12]),
        ([0, 50, 20, 90], [0, 0.05, 0.09, 0.13]),
        ([7, float("nan"), 90, 1000], [0, 0.04, 0.083, 0.993]),
    ],
)
def test_where_times_do_not_rise_the_frame_rate_carries_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, times_ms: list[float], wanted_s: list[float]
) -> None:
    path = film(tmp_path / "a.avi", 2)
    monkeypatch.setattr(cv2, "VideoCapture", lambda *arguments: Standing(times_ms))
    frames = list(VideoFileSource(path).frames())
    np.testing.assert_allclose([frame.time_s for frame in frames], wanted_s, atol=1e-9)
    assert frames[0].image is not None
    assert frames[0].image.shape == (12, 16, 3)


def test_a_video_is_a_recording(tmp_path: Path) -> None:
    recording = read_recording(film(tmp_path / "a.avi"))
    assert len(recording.trace) == 60
    assert recording.trace.covered is not None
    assert recording.trace.covered.min() > 0.9
    wave = np.sin(np.arange(60) / 4)
    assert np.corrcoef(recording.trace.colour[:, 1], wave)[0, 1] > 0.97


def test_a_truncated_video_gives_what_decodes(tmp_path: Path) -> None:
    whole = film(tmp_path / "a.avi").read_bytes()
    (tmp_path / "cut.avi").write_bytes(whole[: len(whole) // 2])
    assert 10 < len(read_recording(tmp_path / "cut.avi").trace) < 60


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"no video at all\n" * 40, "not a video that can be read"),
        (b"RIFF\x24\x00\x00\x00AVI LIST", "not a video that can be read"),
    ],
)
def test_what_is_no_video_is_refused_in_one_line(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "a.avi"
    path.write_bytes(content)
    with pytest.raises(DawnbeatError, match=words) as caught:
        read_recording(path)
    assert "\n" not in str(caught.value)


def test_a_video_without_frames_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.avi"
    cv2.VideoWriter(str(path), cv2.CAP_OPENCV_MJPEG, cv2.VideoWriter_fourcc(*"MJPG"), 30.0, (160, 120)).release()
    with pytest.raises(DawnbeatError):
        read_recording(path)


def test_a_missing_video_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="No such file"):
        read_recording(tmp_path / "nowhere.mp4")
