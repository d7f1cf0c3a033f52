from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.frames import Sample, SourceAbout
from dawnbeat.capture.recorder import Recorder, about_recording
from dawnbeat.capture.recording import read_recording, times_beside
from dawnbeat.capture.video import trace_of_video
from dawnbeat.shared.errors import DawnbeatError
from tests.capture.scenes import as_frame, webcam_finger

ABOUT = about_recording(SourceAbout("invented camera", 640, 480, 30.0, {"exposure": "locked"}))


def sample(number: int) -> Sample:
    return Sample(number / 30.0, 50.0 + number % 7, 40.0, 30.25, 0.975, 0.125, 0.0, 0.5)


def test_what_is_recorded_reads_back(tmp_path: Path) -> None:
    with Recorder(tmp_path / "one", ABOUT) as recorder:
        for number in range(60):
            recorder.write(sample(number))
        recorder.close(dropped=3, facts={"controls": {"exposure": "not offered"}})
    recording = read_recording(tmp_path / "one")
    assert len(recording.trace) == 60
    np.testing.assert_allclose(recording.trace.colour[8], [51.0, 40.0, 30.25])
    assert recording.trace.covered is not None
    assert recording.trace.clipped is not None
    assert recording.trace.covered[0] == 0.975
    assert recording.trace.clipped[0] == 0.5  # the worst channel
    about = recording.about
    assert about["finished"] is True
    assert about["dropped_frames"] == 3
    assert about["measured_rate_hz"] == pytest.approx(30.0, abs=0.01)
    assert about["duration_s"] == pytest.approx(59 / 30, abs=1e-5)
    assert about["controls"] == {"exposure": "not offered"}
    assert about["format_version"] == 1
    assert about["began"][19] in "+-"  # ISO 8601 with its offset


def test_about_stands_from_the_start_and_is_not_finished_before_the_end(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "one", ABOUT)
    recorder.write(sample(0))
    about = read_recording(tmp_path / "one").about
    assert about["finished"] is False
    assert about["camera"] == "invented camera"
    recorder.close()
    recorder.close()
    with pytest.raises(DawnbeatError, match="finished"):
        recorder.write(sample(1))


def test_rows_are_on_their_way_at_once_and_synced_every_second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[int] = []
    monkeypatch.setattr("dawnbeat.capture.recorder.os.fsync", synced.append)
    now = [0.0]
    recorder = Recorder(tmp_path / "one", ABOUT, monotonic=lambda: now[0])
    before = len(synced)
    for number in range(150):
        now[0] = number / 30.0
        recorder.write(sample(number))
        lines = (tmp_path / "one" / "trace.csv").read_bytes().count(b"\n")
        assert lines == number + 2
    assert len(synced) - before == 4
    recorder.close()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no modes")
def test_files_are_the_users_alone(tmp_path: Path) -> None:
    with Recorder(tmp_path / "one", ABOUT, video=True) as recorder:
        recorder.write(sample(0), as_frame(webcam_finger()))
    assert stat.S_IMODE((tmp_path / "one").stat().st_mode) == 0o700
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (tmp_path / "one").iterdir()}
    assert modes == {"trace.csv": 0o600, "about.json": 0o600, "video.avi": 0o600}


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "trace.csv").write_text("old")
    with pytest.raises(DawnbeatError, match="nothing is overwritten"):
        Recorder(tmp_path, ABOUT)
    assert (tmp_path / "trace.csv").read_text() == "old"


def test_a_time_that_does_not_increase_is_refused_and_costs_nothing(tmp_path: Path) -> None:
    with Recorder(tmp_path / "one", ABOUT) as recorder:
        recorder.write(sample(5))
        with pytest.raises(DawnbeatError, match="not later"):
            recorder.write(sample(5))
        recorder.write(sample(6))
    assert len(read_recording(tmp_path / "one").trace) == 2


FILLED = """
import resource, sys
from dawnbeat.capture.frames import Sample, SourceAbout
from dawnbeat.capture.recorder import Recorder, about_recording
from dawnbeat.shared.errors import DawnbeatError
recorder = Recorder(sys.argv[1], about_recording(SourceAbout("invented camera")))
resource.setrlimit(resource.RLIMIT_FSIZE, (4000, 4000))
number = 0
try:
    while True:
        recorder.write(Sample(number / 30, 50, 40, 30))
        number += 1
except DawnbeatError as error:
    print(number)
    print(error)
"""


@pytest.mark.skipif(os.name == "nt", reason="no such limit on Windows")
def test_a_disk_that_takes_no_more_keeps_every_whole_row(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", FILLED, str(tmp_path / "one")], capture_output=True, text=True, check=True
    )
    rows, message = done.stdout.splitlines()
    assert "make room on the disk" in message
    assert "is saved in" in message
    recording = read_recording(tmp_path / "one")
    assert len(recording.trace) == int(rows) > 50
    assert recording.notes == ()


PACED = """
import sys, time
import numpy as np
from dawnbeat.capture.contact import ContactGauge
from dawnbeat.capture.frames import Frame, SourceAbout
from dawnbeat.capture.recorder import Recorder, about_recording

recorder = Recorder(
    sys.argv[1], about_recording(SourceAbout("paced camera", 160, 120, 60.0, live=True)), video=sys.argv[2] == "video"
)
gauge = ContactGauge()
begun = time.monotonic()
for number in range(3600):
    time.sleep(max(0.0, begun + number / 60 - time.monotonic()))
    frame = Frame(time.monotonic() - begun, 0, np.full((120, 160, 3), 30 + number % 9, dtype=np.uint8))
    recorder.write(gauge.measure(frame), frame.image)
    print(f"{frame.time_s:.6f}", flush=True)
"""


@pytest.mark.parametrize(("after_s", "video"), [(0.25, False), (0.9, True), (1.3, False), (2.2, False)])
def test_a_killed_recording_reads_back_short_of_at_most_a_second(tmp_path: Path, after_s: float, video: bool) -> None:
    folder = tmp_path / "one"
    process = subprocess.Popen(
        [sys.executable, "-c", PACED, str(folder), "video" if video else "trace"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    told = [process.stdout.readline()]  # the first frame has been recorded
    time.sleep(after_s)
    process.send_signal(getattr(signal, "SIGKILL", signal.SIGTERM))
    told += process.stdout.read().splitlines()
    process.wait()
    last_s = float([line for line in told if line.strip()][-1])
    recording = read_recording(folder)
    assert last_s >= 0.5 * after_s
    assert recording.trace.time_s[-1] >= last_s - 1.0
    assert recording.about["finished"] is False
    assert recording.about["camera"] == "paced camera"
    if video:
        assert len(trace_of_video(folder / "video.avi", recording.trace.time_s)) >= len(recording.trace) - 60


def test_the_small_video_keeps_the_pulse_of_the_frames(tmp_path: Path) -> None:
    finger = webcam_finger(320, 240)
    wave = 1.0 + 0.01 * np.sin(2 * np.pi * 1.1 * np.arange(90) / 30.0)
    true: list[float] = []
    with Recorder(tmp_path / "one", ABOUT, video=True) as recorder:
        for number in range(90):
            image = as_frame(finger * wave[number], seed=number)
            true.append(float(image[:, :, 1].mean()))
            recorder.write(sample(number), image)
    video = tmp_path / "one" / "video.avi"
    found = trace_of_video(video, times_beside(video))
    np.testing.assert_allclose(found.time_s, np.arange(90) / 30.0, atol=1e-6)  # from the trace beside it
    off = found.colour[:, 1] - true
    assert np.std(off) < 0.03
    (tmp_path / "one" / "trace.csv").unlink()
    alone = read_recording(tmp_path / "one").trace
    np.testing.assert_allclose(np.diff(alone.time_s), 1 / 30, atol=1e-3)
    assert json.loads((tmp_path / "one" / "about.json").read_text())["finished"] is True
