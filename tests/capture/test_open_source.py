from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.frames import Frame, SourceAbout
from dawnbeat.capture.recording import RecordedTraceSource, write_recording
from dawnbeat.capture.video import VideoFileSource
from dawnbeat.morning.sources import open_source
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import Trace
from tests.capture.test_video import film


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    return write_recording(tmp_path / "one", Trace(np.arange(60) / 25.0, np.full((60, 3), 50.0)), {})


@pytest.mark.parametrize(("words", "index"), [("0", 0), ("camera", 0), ("camera:0", 0), (" Camera:12 ", 12), ("3", 3)])
def test_a_number_is_a_camera(monkeypatch: pytest.MonkeyPatch, words: str, index: int) -> None:
    monkeypatch.setattr("dawnbeat.capture.camera.CameraSource", lambda *arguments, name: arguments)
    assert open_source(words, width=320, height=240) == (index, 320, 240)  # type: ignore[comparison-overlap]


def test_an_address_is_a_stream(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dawnbeat.capture.live.StreamSource", lambda url: url)
    assert open_source("http://phone/video") == "http://phone/video"  # type: ignore[comparison-overlap]


def test_a_recording_is_replayed(recording: Path) -> None:
    for path in (recording, recording / "trace.csv"):
        source = open_source(str(path))
        assert isinstance(source, RecordedTraceSource)
        assert len(list(source.frames())) == 60


def test_a_video_in_a_recording_takes_the_times_of_its_trace(recording: Path) -> None:
    film(recording / "video.avi")
    source = open_source(str(recording / "video.avi"))
    assert isinstance(source, VideoFileSource)
    assert [frame.time_s for frame in source.frames()] == pytest.approx(list(np.arange(60) / 25.0))
    (recording / "trace.csv").unlink()
    assert isinstance(open_source(str(recording)), VideoFileSource)


def test_the_rehearsal_finger_is_a_source() -> None:
    source = open_source("rehearsal", seed=3, duration_s=20.0)
    first = next(iter(source.frames()))
    source.close()
    assert isinstance(first, Frame)
    assert isinstance(source.about, SourceAbout)


@pytest.mark.parametrize("words", ["", "nowhere", "camera:x", "./0", "99999"])
def test_what_names_no_source_is_refused_with_what_there_is(words: str) -> None:
    with pytest.raises(DawnbeatError, match="a camera number"):
        open_source(words)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="device nodes are Linux's")
def test_a_camera_that_is_not_there_is_refused_quietly() -> None:
    code = (
        "from dawnbeat.morning.sources import open_source\n"
        "from dawnbeat.shared.errors import DawnbeatError\n"
        "try:\n    open_source('987')\nexcept DawnbeatError as error:\n    print(error)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "there is no camera 987" in done.stdout
    assert done.stderr == ""


def test_loading_opencv_sets_no_qt_variable() -> None:
    code = (
        "import os\nfrom dawnbeat.capture.frames import load_cv2\ncv2 = load_cv2()\n"
        "print(cv2.__name__, [k for k in os.environ if k.startswith('QT_QPA_')])"
    )
    clean = {k: v for k, v in os.environ.items() if not k.startswith("QT_QPA_")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=clean)
    assert done.stdout.strip() == "cv2 []"
