"""The rehearsal finger behaves as a camera does."""

import threading
import time

import numpy as np
import pytest

from dawnbeat.recordings.invented.faults import Faults, Stretch
from dawnbeat.recordings.invented.rehearsal import REHEARSAL_CAMERA, RehearsalSource
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError


def test_it_gives_every_frame_with_its_time_and_picture():
    source = RehearsalSource(duration_s=2.0, rate_hz=60)
    frames = list(source.frames())
    assert len(frames) == source.frame_count == 120
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
