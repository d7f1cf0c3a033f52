"""Video files: frames and times as their containers give them, and when they were taken.

The bytes that say when are laid out here by the published formats: ISO/IEC 14496-12 (boxes, movie header), Apple's
QuickTime File Format (creationdate), RFC 9559 (DateUTC).
"""

from __future__ import annotations

import struct
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.capture.recording import read_recording
from dawnbeat.capture.video import VideoFileSource, creation_time
from dawnbeat.morning.sources import taken_at
from dawnbeat.shared.errors import DawnbeatError
from tests.capture.scenes import as_frame, webcam_finger

TAKEN = datetime(2026, 3, 1, 5, 40, 12, tzinfo=UTC)
SECONDS = int((TAKEN - datetime(1904, 1, 1, tzinfo=UTC)).total_seconds())


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
    frames = list(source.frames())
    source.close()
    np.testing.assert_allclose([frame.time_s for frame in frames], np.arange(60) / 29.97, atol=within_s)
    assert (source.about.width, source.about.height, source.about.live) == (160, 120, False)
    assert source.about.nominal_rate_hz == pytest.approx(29.97)


def test_given_times_replace_the_containers_and_end_with_the_last(tmp_path: Path) -> None:
    times_s = 5.0 + np.cumsum(np.random.default_rng(0).uniform(0.03, 0.04, 50))
    source = VideoFileSource(film(tmp_path / "a.avi"), times_s)
    np.testing.assert_allclose([frame.time_s for frame in source.frames()], times_s - 5.0 - (times_s[0] - 5.0))


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


def box(kind: bytes, content: bytes, wide: bool = False) -> bytes:
    if wide:
        return struct.pack(">I4sQ", 1, kind, 16 + len(content)) + content
    return struct.pack(">I4s", 8 + len(content), kind) + content


def header(seconds: int, version: int = 0) -> bytes:
    form = ">IIIII" if version == 0 else ">IQQIQ"
    return box(b"mvhd", struct.pack(form, version << 24, seconds, seconds, 1000, 60_000) + bytes(80))


def container(tmp_path: Path, *movie: bytes, before: bytes = b"", name: str = "clip.mp4") -> Path:
    path = tmp_path / name
    path.write_bytes(box(b"ftyp", b"isom") + before + box(b"moov", b"".join(movie)))
    return path


@pytest.mark.parametrize("version", [0, 1])
@pytest.mark.parametrize("before", [b"", box(b"mdat", bytes(5000)), box(b"mdat", bytes(5000), wide=True)])
def test_the_movie_header_says_when_in_utc(tmp_path: Path, version: int, before: bytes) -> None:
    path = container(tmp_path, header(SECONDS, version), before=before)
    assert creation_time(path) == TAKEN
    found = taken_at(path)
    assert found == TAKEN
    assert found is not None
    assert found.utcoffset() == TAKEN.astimezone().utcoffset()


def test_the_places_own_time_goes_before_it(tmp_path: Path) -> None:
    local = b"\x00\x00\x00\x01\x00\x00\x00\x002026-03-01T07:40:12+0200"
    path = container(tmp_path, header(SECONDS), box(b"meta", box(b"ilst", box(b"data", local))), name="clip.mov")
    found = creation_time(path)
    assert found == TAKEN
    assert found is not None
    assert found.utcoffset() == timedelta(hours=2)
    assert taken_at(path) == datetime(2026, 3, 1, 7, 40, 12, tzinfo=timezone(timedelta(hours=2)))


@pytest.mark.parametrize("seconds", [0, 1, 2**32 - 1])
def test_a_clock_that_was_never_set_says_nothing(tmp_path: Path, seconds: int) -> None:
    assert creation_time(container(tmp_path, header(seconds))) is None


def test_matroska_counts_nanoseconds_from_2001(tmp_path: Path) -> None:
    nanoseconds = int((TAKEN - datetime(2001, 1, 1, tzinfo=UTC)).total_seconds()) * 10**9
    path = tmp_path / "clip.webm"
    path.write_bytes(b"\x1a\x45\xdf\xa3\x84webm" + b"\x44\x61\x88" + struct.pack(">q", nanoseconds))
    assert creation_time(path) == TAKEN


@pytest.mark.parametrize("content", [b"", b"no film", struct.pack(">I4s", 3, b"moov"), box(b"moov", b"\x00\x00")])
def test_what_is_no_film_says_nothing(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(content)
    assert creation_time(path) is None


@given(st.binary(max_size=200), st.sampled_from([b"", b"\x1a\x45\xdf\xa3", box(b"ftyp", b"isom")]))
def test_no_bytes_bring_it_down(tmp_path_factory: pytest.TempPathFactory, content: bytes, begins: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.mp4"
    path.write_bytes(begins + content)
    creation_time(path)


def test_a_film_of_a_real_encoder_is_understood(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"mp4v"), 30.0, (64, 48))
    for number in range(30):
        writer.write(np.full((48, 64, 3), 40 + number, dtype=np.uint8))
    writer.release()
    data = bytearray(path.read_bytes())
    at = data.index(b"mvhd") + 8
    data[at : at + 4] = struct.pack(">I", SECONDS)
    path.write_bytes(data)
    assert creation_time(path) == TAKEN
