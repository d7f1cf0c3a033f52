"""Drawn frames: their mean colour is the trace's, a packed video keeps it, and they come as a camera's do."""

from __future__ import annotations

import threading
import time
from dataclasses import replace

import cv2
import numpy as np
import pytest

from dawnbeat.recordings.invented.faults import Faults, Stretch
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, ROOM_FINGER
from dawnbeat.recordings.invented.finger_video import (
    REHEARSAL_CAMERA,
    FingerVideo,
    RehearsalSource,
    without_tables,
    write_mjpeg_avi,
    write_video,
)
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError

UNCLIPPED = Scenario(finger=replace(LAMP_FINGER, level=(200.0, 60.0, 40.0)), duration_s=4.0)


def means(images):
    """(n, 3) red, green, blue means of the frames."""
    return np.array([image.mean(axis=(0, 1))[::-1] for image in images])


def decoded(path):
    capture = cv2.VideoCapture(str(path))
    images = []
    while True:
        there, image = capture.read()
        if not there:
            break
        images.append(image)
    rate_hz = capture.get(cv2.CAP_PROP_FPS)
    capture.release()
    return images, rate_hz


@pytest.mark.parametrize("size", [(64, 48), (160, 120), (640, 480)])
def test_the_mean_of_each_frame_is_the_trace(size):
    scenario = replace(UNCLIPPED, duration_s=1.0)
    drawn = means(FingerVideo(scenario, *size).images())
    np.testing.assert_allclose(drawn, scenario.trace().colour, atol=0.05)


def test_frames_are_bytes_and_the_same_again():
    first, again = (list(FingerVideo(replace(UNCLIPPED, duration_s=0.5)).images()) for _ in range(2))
    assert first[0].dtype == np.uint8
    assert first[0].shape == (120, 160, 3)
    assert all(np.array_equal(one, other) for one, other in zip(first, again, strict=True))
    assert not np.array_equal(first[0], first[1])


def test_a_lamp_finger_is_deep_red_with_red_clipped_and_a_webcam_finger_is_dim():
    lamp = FingerVideo(Scenario(duration_s=0.2)).image(0)
    room = FingerVideo(Scenario(finger=ROOM_FINGER, duration_s=0.2)).image(0)
    assert lamp[:, :, 2].mean() > 4 * lamp[:, :, 1].mean()
    assert (lamp[:, :, 2] == 255).mean() > 0.3
    assert room.mean() < 80
    assert room[:, :, 2].mean() > room[:, :, 0].mean()


def test_a_lifted_finger_shows_a_room_that_moves():
    video = FingerVideo(replace(UNCLIPPED, faults=Faults(lifted=(Stretch(1, 2),))))
    on, off, later = (video.image(index).astype(float) for index in (5, 50, 60))
    edges = [np.abs(np.diff(image[:, :, 1], axis=1)).max() for image in (on, off)]
    assert edges[1] > 1.5 * edges[0]
    assert abs(off[:, :, 2].mean() - off[:, :, 0].mean()) < 60
    assert np.abs(later - off).mean() > 5


def test_a_half_covered_lens_shows_finger_and_room():
    video = FingerVideo(UNCLIPPED, covered_share=0.5)
    image = video.image(0).astype(float)
    left, right = image[:, :70].mean(axis=(0, 1)), image[:, 90:].mean(axis=(0, 1))
    assert left[2] > 2.5 * left[1]
    assert right[2] < 1.6 * right[1]


def test_dropped_frames_are_counted_before_the_next():
    video = FingerVideo(replace(UNCLIPPED, faults=Faults(dropped=(Stretch(1.0, 0.5),))))
    assert video.dropped_before.max() == 15
    assert len(video) + video.dropped_before.sum() == 120


def test_a_written_video_has_every_frame_and_keeps_the_mean_colour(tmp_path):
    path = tmp_path / "finger.avi"
    assert write_video(path, UNCLIPPED, 64, 48, pixel_noise=0.8) == 120
    images, rate_hz = decoded(path)
    assert len(images) == 120
    assert rate_hz == pytest.approx(30.0)
    error = means(images) - UNCLIPPED.trace().colour
    assert error.std(axis=0).max() < 0.08
    # The decoder's colour conversion cuts off fractions: a constant, which does no harm to a pulse.
    assert np.abs(error.mean(axis=0)).max() < 1.2
    assert not list(tmp_path.glob("*.part")) + list(tmp_path.glob(".*"))


def test_a_picture_without_its_tables_decodes_to_the_same_picture():
    image = FingerVideo(UNCLIPPED).image(3)
    made, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 95])
    assert made
    short = without_tables(data.tobytes())
    assert len(short) < data.size - 400
    again = cv2.imdecode(np.frombuffer(short, np.uint8), cv2.IMREAD_COLOR)
    np.testing.assert_array_equal(again, cv2.imdecode(data, cv2.IMREAD_COLOR))


@pytest.mark.parametrize("rate_hz", [15.0, 24.0, 29.97, 60.0])
def test_the_container_says_its_rate(tmp_path, rate_hz):
    path = tmp_path / "finger.avi"
    write_mjpeg_avi(path, [np.full((16, 16, 3), 99, np.uint8)] * 4, rate_hz)
    images, said_hz = decoded(path)
    assert len(images) == 4
    assert said_hz == pytest.approx(rate_hz, rel=1e-3)


def test_what_cant_be_drawn_or_written_is_refused(tmp_path):
    picture = np.zeros((16, 16, 3), np.uint8)
    with pytest.raises(DawnbeatError, match="16 to 4096"):
        FingerVideo(UNCLIPPED, width=2)
    with pytest.raises(DawnbeatError, match="covered share"):
        FingerVideo(UNCLIPPED, covered_share=1.5)
    with pytest.raises(DawnbeatError, match="at least one"):
        write_mjpeg_avi(tmp_path / "none.avi", [], 30.0)
    with pytest.raises(DawnbeatError, match="one size"):
        write_mjpeg_avi(tmp_path / "two.avi", [picture, picture[:8]], 30.0)
    with pytest.raises(DawnbeatError, match="can't write"):
        write_mjpeg_avi(tmp_path / "nowhere" / "x.avi", [picture], 30.0)
    assert not list(tmp_path.iterdir())


def test_it_gives_every_frame_with_its_time_and_picture():
    source = RehearsalSource(duration_s=2.0, rate_hz=60)
    frames = list(source.frames())
    assert len(frames) == 120
    assert frames[0].time_s == 0.0
    assert np.diff([frame.time_s for frame in frames]).min() > 0
    assert all(frame.image is not None and frame.image.shape == (120, 160, 3) for frame in frames)
    assert source.about.camera == REHEARSAL_CAMERA
    assert "invented" in source.about.camera
    assert (source.about.width, source.about.height, source.about.nominal_rate_hz) == (160, 120, 60)
    assert not source.about.live
    source.close()
    source.close()


def test_the_seed_decides_the_heart():
    first, again, other = (RehearsalSource(seed=seed, duration_s=30.0).beats_s for seed in (1, 1, 2))
    np.testing.assert_array_equal(first, again)
    assert first.size != other.size or not np.allclose(first, other)
    assert 20 < first.size < 35


def test_frames_come_at_their_own_pace_when_asked():
    source = RehearsalSource(duration_s=6.0, realtime=True, speed=20.0, width=64, height=48)
    began_s = time.monotonic()
    count = sum(1 for _ in source.frames())
    assert time.monotonic() - began_s >= 0.28
    assert count <= 180
    assert source.about.live


def test_frames_that_nobody_takes_are_lost_and_counted():
    source = RehearsalSource(duration_s=10.0, realtime=True, speed=20.0, width=64, height=48)
    frames = source.frames()
    seen = [next(frames)]
    time.sleep(0.2)
    seen += list(frames)
    dropped = sum(frame.dropped_before for frame in seen)
    assert dropped >= 90
    assert len(seen) + dropped <= 300
    assert seen[1].dropped_before > 50
    assert seen[1].time_s > 3.0


def test_frames_that_the_scenario_drops_are_counted():
    scenario = Scenario(duration_s=4.0, faults=Faults(dropped=(Stretch(1.0, 0.5),)))
    frames = list(RehearsalSource(scenario=scenario, width=64, height=48).frames())
    assert sum(frame.dropped_before for frame in frames) == 15
    assert len(frames) == 105


def test_closing_ends_a_wait_for_the_next_frame():
    source = RehearsalSource(duration_s=100.0, realtime=True, speed=0.1, width=64, height=48)
    taken = []
    reader = threading.Thread(target=lambda: taken.extend(source.frames()))
    reader.start()
    time.sleep(0.1)
    source.close()
    reader.join(timeout=2.0)
    assert not reader.is_alive()
    assert 1 <= len(taken) < 10


@pytest.mark.parametrize(
    "changes", [{"speed": 0.0}, {"speed": float("nan")}, {"rate_hz": 1.0}, {"width": 3}, {"duration_s": -1.0}]
)
def test_nonsense_is_refused(changes):
    with pytest.raises(DawnbeatError):
        RehearsalSource(**changes)
