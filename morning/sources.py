"""From the words of a user to an open source of frames."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from dawnbeat.capture.frames import FrameSource
from dawnbeat.capture.recording import TRACE, VIDEO, is_video, read_recording
from dawnbeat.shared.errors import DawnbeatError

HELP = "a camera number, an http, https or rtsp address, a recording, a video file, or rehearsal"


def open_source(words: str, *, width: int = 640, height: int = 480, **rehearsal: Any) -> FrameSource:
    """Open the source that `words` name; the caller closes it.

    "0", "camera" or "camera:0" for a camera; an http, https or rtsp address; the path of a recording or of a
    video file; "rehearsal" for the drawn finger, to which further keywords go. A file or folder of the same
    name is reached as "./0". Raises DawnbeatError when there is no such source or it can't be opened.
    """
    words = words.strip()
    camera = re.fullmatch(r"(?:camera:?)?(\d{1,4})|camera", words, flags=re.IGNORECASE | re.ASCII)
    if camera:
        from dawnbeat.capture.camera import CameraSource, camera_name

        index = int(camera[1] or 0)
        return CameraSource(index, width, height, name=camera_name(index))
    if words.lower() == "rehearsal":
        from dawnbeat.recordings.invented.rehearsal import RehearsalSource

        return RehearsalSource(**rehearsal)
    if "://" in words:
        from dawnbeat.capture.stream import StreamSource

        return StreamSource(words)
    return _open_path(words)


def _open_path(words: str) -> FrameSource:
    path = Path(words).expanduser()
    if not words or not path.exists():
        raise DawnbeatError(f"there is no source {words!r}: give {HELP}")
    if path.is_dir() and not (path / TRACE).exists() and (path / VIDEO).exists():
        path = path / VIDEO
    if is_video(path):
        from dawnbeat.capture.extract import times_beside
        from dawnbeat.capture.video_file import VideoFileSource

        return VideoFileSource(path, times_beside(path))
    from dawnbeat.capture.recorded_trace import RecordedTraceSource

    return RecordedTraceSource(read_recording(path))
