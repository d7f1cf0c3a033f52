from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.frames import Frame, Sample
from dawnbeat.capture.recorded_trace import RecordedTraceSource
from dawnbeat.capture.recorder import Recorder, about_recording
from dawnbeat.capture.recording import read_recording, write_recording
from dawnbeat.capture.session import SOURCE_ENDED, STOPPED, TIME_UP, Moment, run_session
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import Trace
from tests.capture.fakes import VANISHED, FakeSource
from tests.capture.scenes import as_frame, plain_wall, webcam_finger


def frames(count: int, begin_s: float = 0.0, covered: float = 1.0, dropped: int = 0) -> list[Frame]:
    found = []
    for number in range(count):
        time_s = begin_s + number / 30
        found.append(Frame(time_s, dropped, None, Sample(time_s, 50, 40 + number % 3, 30, covered)))
    return found


def test_frames_are_kept_until_the_time_is_up() -> None:
    source = FakeSource(frames(300, begin_s=4.0))
    result = run_session(source, seconds=5.0)
    assert result.ended_because == TIME_UP
    assert not result.broken
    assert result.trace.time_s[0] == 0.0
    assert result.trace.time_s[-1] == pytest.approx(5.0)
    assert len(result.trace) == 151
    assert source.settled == 0
    assert source.closed == 0


def test_a_source_that_comes_to_its_end_ends_the_session() -> None:
    result = run_session(FakeSource(frames(60)), seconds=None)
    assert (len(result.trace), result.ended_because) == (60, SOURCE_ENDED)


@pytest.mark.parametrize("fault", [VANISHED, RuntimeError("the driver\nfell over")])
def test_a_source_that_breaks_keeps_what_it_gave(tmp_path: Path, fault: Exception) -> None:
    source = FakeSource(frames(60), fault, live=True)
    recorder = Recorder(tmp_path / "one", about_recording(source.about))
    result = run_session(source, seconds=60, recorder=recorder)
    assert len(result.trace) == 60
    assert result.broken
    assert "\n" not in result.ended_because
    assert str(fault).split("\n")[0] in result.ended_because
    recorder.close(dropped=result.dropped)
    assert len(read_recording(tmp_path / "one").trace) == 60


def test_a_source_that_gives_nothing_leaves_an_empty_trace() -> None:
    result = run_session(FakeSource([], VANISHED), seconds=10)
    assert (len(result.trace), result.broken) == (0, True)


def test_stopping_ends_even_a_source_without_end() -> None:
    def endless() -> Iterator[Frame]:
        for number in itertools.count():
            time.sleep(0.001)
            yield Frame(number / 30, 0, None, Sample(number / 30, 50, 40, 30))

    stop = threading.Event()

    def on_sample(moment: Moment) -> None:
        if moment.sample.time_s > 1.0:
            stop.set()

    began = time.monotonic()
    result = run_session(FakeSource(endless(), live=True), seconds=None, on_sample=on_sample, stop=stop)
    assert result.ended_because == STOPPED
    assert len(result.trace) >= 31
    assert time.monotonic() - began < 3.0


def test_a_watcher_that_is_slow_costs_a_live_source_frames_that_are_counted() -> None:
    total = 400

    def in_bursts() -> Iterator[Frame]:
        for frame in frames(total):
            if round(30 * frame.time_s) % 150 == 149:
                time.sleep(0.2)
            yield frame

    source = FakeSource(in_bursts(), live=True, width=640, height=480)

    def on_sample(moment: Moment) -> None:
        if len(seen) < 3:
            time.sleep(0.05)
        seen.append(moment)

    seen: list[Moment] = []
    result = run_session(source, seconds=None, on_sample=on_sample)
    assert result.dropped > 0
    assert len(result.trace) + result.dropped == total
    lost_so_far = [round(30 * moment.sample.time_s) - i for i, moment in enumerate(seen)]
    assert [moment.dropped for moment in seen] == lost_so_far
    assert lost_so_far[-1] > 0


def test_a_source_that_can_wait_loses_nothing() -> None:
    source = FakeSource(frames(400), width=640, height=480)
    count = [0]

    def on_sample(moment: Moment) -> None:
        count[0] += 1
        if count[0] < 5:
            time.sleep(0.05)

    result = run_session(source, seconds=None, on_sample=on_sample)
    assert (len(result.trace), result.dropped, count[0]) == (400, 0, 400)


def test_frames_that_the_source_lost_are_counted_from_the_first_kept_one() -> None:
    result = run_session(FakeSource(frames(10, dropped=2)), seconds=None)
    assert result.dropped == 9 * 2


def test_keeping_begins_once_the_finger_has_lain_well_and_the_controls_are_locked() -> None:
    source = FakeSource([*frames(60, covered=0.1), *frames(240, begin_s=2.0)], live=False)
    moments: list[Moment] = []
    result = run_session(source, seconds=4.0, settle_s=1.5, on_sample=moments.append)
    assert source.settled == 1
    assert result.trace.time_s[0] == 0.0
    first_kept = next(i for i, moment in enumerate(moments) if moment.kept)
    assert moments[first_kept - 1].sample.time_s == pytest.approx(3.5, abs=0.1)
    assert result.trace.duration_s == pytest.approx(4.0)
    assert not moments[0].contact.good


def test_a_finger_that_never_lies_well_begins_in_the_end_all_the_same() -> None:
    source = FakeSource(frames(300, covered=0.3))
    result = run_session(source, seconds=3.0, settle_s=1.0, settle_limit_s=5.0)
    assert source.settled == 1
    assert (result.ended_because, result.trace.duration_s) == (TIME_UP, pytest.approx(3.0))


def test_a_disk_that_refuses_ends_the_session_with_what_was_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = FakeSource(frames(60))
    recorder = Recorder(tmp_path / "one", about_recording(source.about))
    real = recorder.write

    def write(sample: Sample, image: object = None) -> None:
        if sample.time_s > 1.0:
            raise DawnbeatError("can't write the recording (No space left on device): make room on the disk")
        real(sample)

    monkeypatch.setattr(recorder, "write", write)
    result = run_session(source, seconds=None, recorder=recorder)
    assert result.broken
    assert "make room" in result.ended_because
    assert len(result.trace) == 31
    recorder.close()
    assert len(read_recording(tmp_path / "one").trace) == 31


def test_an_interrupt_from_the_keyboard_keeps_what_was_taken() -> None:
    def on_sample(moment: Moment) -> None:
        if moment.sample.time_s >= 1.0:
            raise KeyboardInterrupt

    result = run_session(FakeSource(frames(90)), seconds=None, on_sample=on_sample)
    assert result.ended_because == STOPPED
    assert len(result.trace) == 31


def test_a_watchers_own_error_is_passed_on() -> None:
    def on_sample(moment: Moment) -> None:
        raise LookupError("mine")

    with pytest.raises(LookupError, match="mine"):
        run_session(FakeSource(frames(90)), seconds=None, on_sample=on_sample)


def test_images_pass_the_gauge_and_the_video_on_their_way(tmp_path: Path) -> None:
    finger, wall = as_frame(webcam_finger(160, 120)), as_frame(plain_wall(130, 160, 120))
    pictures = [Frame(i / 30, 0, finger if i < 20 else wall) for i in range(40)]
    source = FakeSource(pictures, width=160, height=120)
    moments: list[Moment] = []
    with Recorder(tmp_path / "one", about_recording(source.about), video=True) as recorder:
        result = run_session(source, seconds=None, recorder=recorder, on_sample=moments.append)
    assert [moment.contact.state for moment in moments[::39]] == ["covered", "uncovered"]
    assert result.trace.covered is not None
    assert result.trace.covered[5] > 0.95
    assert result.trace.covered[-1] < 0.05
    recorded = read_recording(tmp_path / "one").trace
    np.testing.assert_allclose(recorded.colour, result.trace.colour, atol=1e-5)


def test_a_recording_replays_through_the_session_unchanged(tmp_path: Path) -> None:
    time_s = 3.0 + np.delete(np.arange(200) / 30.0, [90, 91])
    colour = np.random.default_rng(0).uniform(20, 60, (198, 3))
    clipped = np.linspace(0, 0.4, 198)
    trace = Trace(time_s, colour, np.full(198, 0.9), clipped)
    recording = read_recording(write_recording(tmp_path / "one", trace, {}))
    source = RecordedTraceSource(recording)
    result = run_session(source, seconds=None)
    np.testing.assert_allclose(result.trace.time_s, time_s - 3.0, atol=2e-6)
    np.testing.assert_allclose(result.trace.colour, colour, atol=1e-5)
    assert result.trace.clipped is not None
    np.testing.assert_allclose(result.trace.clipped, clipped, atol=1e-4)
    assert result.dropped == 2
    assert len(list(source.frames())) == 198  # it can be played again
