"""The recording format, version 1: a folder with trace.csv, about.json and perhaps beats.csv and video.avi.

A bare CSV file, plain or gzipped, is a recording too, and so is a video file.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dawnbeat.capture.frames import Frame, Sample, SourceAbout
from dawnbeat.capture.trace_csv import read_times_csv, read_trace_csv, trace_csv_text
from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import FOLDER_MODE, private_folder, refuse_special, sync_folder, write_private
from dawnbeat.shared.installed import software_version
from dawnbeat.shared.trace import FloatArray, Trace

FORMAT_VERSION = 1
TRACE, ABOUT, BEATS, VIDEO = "trace.csv", "about.json", "beats.csv", "video.avi"
VIDEO_SUFFIXES = frozenset({".avi", ".mp4", ".m4v", ".mov", ".mkv", ".webm", ".3gp", ".mjpeg", ".mjpg", ".mpg"})


@dataclass(frozen=True)
class Recording:
    """One recording as it lies on disk.

    trace: the mean colours. about: what about.json says, empty for a bare file. beats_s: (k,) reference beats
    on the trace's clock, or None where no reference is known. name: for people. notes: what was forgiven.
    """

    trace: Trace
    about: Mapping[str, Any]
    beats_s: FloatArray | None
    name: str
    path: Path
    notes: tuple[str, ...] = field(default=())


def read_recording(path: Path | str) -> Recording:
    """Read a recording folder, a bare .csv or .csv.gz, or a video file.

    The only damage that is forgiven, with a note, is a last line that a power cut left unfinished.
    Raises DawnbeatError, with file and line where there is one, when the recording can't be read.
    """
    path = Path(path)
    if is_video(path):
        return Recording(_video_trace(path), {}, None, path.name, path)
    if path.is_dir():
        return _read_folder(path)
    trace, notes = read_trace_csv(path)
    return Recording(trace, {}, None, path.name, path, notes)


def write_recording(
    folder: Path | str, trace: Trace, about: Mapping[str, Any], beats_s: FloatArray | None = None
) -> Path:
    """Write a whole recording at once into a new or empty folder, for the user alone.

    `about` is completed with format version, software version, duration and measured rate.
    Raises DawnbeatError when the folder holds something already or can't be written.
    """
    folder = new_folder(Path(folder))
    facts: dict[str, Any] = {
        "format_version": FORMAT_VERSION,
        "software_version": software_version(),
        "duration_s": round(trace.duration_s, 6),
        "measured_rate_hz": None if trace.frame_rate_hz is None else round(trace.frame_rate_hz, 3),
        **about,
    }
    with plain_errors("write the recording", folder):
        write_private(folder / TRACE, trace_csv_text(trace).encode())
        if beats_s is not None:
            rows = "".join(f"{beat_s:.6f}\n" for beat_s in beats_s)
            write_private(folder / BEATS, f"time_s\n{rows}".encode())
        write_private(folder / ABOUT, about_text(facts).encode())
        sync_folder(folder)
    return folder


def is_video(path: Path) -> bool:
    """Whether this is a video by its name; what is inside is for the decoder to say."""
    return path.suffix.lower() in VIDEO_SUFFIXES and not path.is_dir()


def times_beside(path: Path) -> FloatArray | None:
    """The frame times that a recording's own trace.csv keeps for the video beside it, or None."""
    beside = path.with_name(TRACE)
    return read_trace_csv(beside)[0].time_s if path.name == VIDEO and beside.is_file() else None


def about_beside(path: Path) -> Mapping[str, Any]:
    """What about.json says of a recording, by its folder or a file in it; empty where there is none.

    Raises DawnbeatError when it is damaged.
    """
    about = (path if path.is_dir() else path.parent) / ABOUT
    return _read_about(about) if about.is_file() else {}


def new_folder(folder: Path) -> Path:
    """Make a folder for the user alone, or take an empty one.

    Raises DawnbeatError when it holds something already or can't be made.
    """
    with plain_errors("make the folder", folder):
        private_folder(folder)
        if any(folder.iterdir()):
            raise DawnbeatError(f"{folder} holds something already: give a new folder, nothing is overwritten")
        folder.chmod(FOLDER_MODE)
        sync_folder(folder.parent)
    return folder


def refuse_used(folder: Path) -> None:
    """Raise DawnbeatError where a folder can't be that of a new recording, before anything is captured for it."""
    with plain_errors("make the folder", folder):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise DawnbeatError(f"{folder} holds something already: give a new folder, nothing is overwritten")
        above = next(each for each in folder.absolute().parents if each.exists())
    if not above.is_dir() or not os.access(above, os.W_OK):
        raise DawnbeatError(f"can't make the folder {folder}: {above} is no folder that can be written to")


def about_text(about: Mapping[str, Any]) -> str:
    """about.json as text; raises ValueError for a number that is not finite."""
    return json.dumps(about, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _read_folder(folder: Path) -> Recording:
    with plain_errors("read the recording", folder):
        names = {entry.name for entry in folder.iterdir()}
    name = folder.resolve().name
    about = _read_about(folder / ABOUT) if ABOUT in names else {}
    beats_s = read_times_csv(folder / BEATS) if BEATS in names else None
    if TRACE in names:
        trace, notes = read_trace_csv(folder / TRACE, ours=ABOUT in names)
        return Recording(trace, about, beats_s, name, folder, notes)
    if VIDEO in names:
        return Recording(_video_trace(folder / VIDEO), about, beats_s, name, folder)
    raise DawnbeatError(f"{folder} is not a recording: it holds no {TRACE} and no {VIDEO}")


def _read_about(path: Path) -> dict[str, Any]:
    try:
        with plain_errors("read the recording", path):
            refuse_special(path)
            about = json.loads(path.read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise DawnbeatError(
            f"{path} is damaged ({one_line(error)}): move it away, and the trace can be read without it"
        ) from error
    if not isinstance(about, dict):
        raise DawnbeatError(f"{path} is damaged: it should hold names and values in braces")
    version = about.get("format_version", FORMAT_VERSION)
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise DawnbeatError(f"{path}: format_version is {version!r}, but it should be a whole number from 1")
    if version > FORMAT_VERSION:
        raise DawnbeatError(
            f"{path}: the recording has format version {version}, this program reads up to {FORMAT_VERSION}; "
            "install a newer version of the program"
        )
    return about


def _video_trace(path: Path) -> Trace:
    from dawnbeat.capture.video import trace_of_video  # OpenCV is slow to import and seldom needed

    return trace_of_video(path, times_beside(path))


class RecordedTraceSource:
    """Replays a trace as fast as it is taken. Times start at zero; gaps count as lost frames."""

    def __init__(self, recording: Recording) -> None:
        self._trace = recording.trace
        self._about = SourceAbout(
            camera=f"recording {recording.name}",
            nominal_rate_hz=recording.trace.frame_rate_hz,
            invented=recording.about.get("invented") is True,
        )

    @property
    def about(self) -> SourceAbout:
        """The name of the recording and its rate."""
        return self._about

    def frames(self) -> Iterator[Frame]:
        """Yield one frame a row, from the first row on, each time it is called."""
        from dawnbeat.capture.clock import DropCounter  # what it counts with is slow to import

        trace = self._trace
        drops = DropCounter()
        for i in range(len(trace)):
            time_s = float(trace.time_s[i] - trace.time_s[0])
            colour = [float(value) for value in trace.colour[i]]
            clipped = [0.0, 0.0, 0.0]
            if trace.clipped is not None:
                # The format keeps the worst channel, which is the brightest.
                clipped[colour.index(max(colour))] = float(trace.clipped[i])
            covered = 1.0 if trace.covered is None else float(trace.covered[i])
            red, green, blue = colour
            sample = Sample(time_s, red, green, blue, covered, *clipped)
            yield Frame(time_s, drops.lost_before(time_s), None, sample)

    def settle(self) -> None:
        """What was recorded can't be changed any more."""

    def close(self) -> None:
        """Nothing to let go."""
