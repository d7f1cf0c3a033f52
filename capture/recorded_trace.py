"""A recording's trace as a source of frames that are colours already."""

from __future__ import annotations

from collections.abc import Iterator

from dawnbeat.capture.clock import DropCounter
from dawnbeat.capture.frames import Frame, Sample, SourceAbout
from dawnbeat.capture.recording import Recording


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
