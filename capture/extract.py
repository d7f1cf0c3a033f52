"""From a video file to its trace, through the same gauge that a camera's frames pass."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from dawnbeat.capture.contact import ContactGauge
from dawnbeat.capture.frames import Sample
from dawnbeat.capture.recording import TRACE
from dawnbeat.capture.trace_csv import read_trace_csv
from dawnbeat.capture.video_file import VideoFileSource
from dawnbeat.shared.trace import FloatArray, Trace


def trace_of_video(path: Path) -> Trace:
    """Measure every frame of a video file; raises DawnbeatError when it has none.

    Times come from the trace.csv beside it in a recording folder, else from the container.
    """
    source = VideoFileSource(path, times_beside(path))
    gauge = ContactGauge()
    try:
        return trace_of_samples([gauge.measure(frame) for frame in source.frames()])
    finally:
        source.close()


def times_beside(path: Path) -> FloatArray | None:
    """The frame times that a recording's own trace.csv keeps for the video beside it, or None."""
    beside = path.with_name(TRACE)
    return read_trace_csv(beside)[0].time_s if path.name == "video.avi" and beside.is_file() else None


def trace_of_samples(samples: list[Sample]) -> Trace:
    """The trace of samples in order of time."""
    table = np.array(
        [
            (
                sample.time_s,
                sample.red,
                sample.green,
                sample.blue,
                sample.covered,
                max(sample.clipped_red, sample.clipped_green, sample.clipped_blue),
            )
            for sample in samples
        ],
        dtype=np.float64,
    ).reshape(len(samples), 6)
    return Trace(table[:, 0], table[:, 1:4], table[:, 4], table[:, 5])
