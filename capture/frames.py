"""What a source of frames is: frames with their own times, and what the camera really took."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Sample:
    """One frame reduced to its mean colour, with how well the finger covered the lens.

    time_s: seconds from the source's first frame. red, green, blue: means over the covered part, 0 to 255.
    covered: share of the frame under the finger, 0 to 1.
    clipped_red, clipped_green, clipped_blue: share of pixels at the top of the scale, 0 to 1.
    """

    time_s: float
    red: float
    green: float
    blue: float
    covered: float = 1.0
    clipped_red: float = 0.0
    clipped_green: float = 0.0
    clipped_blue: float = 0.0


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame with its own time.

    time_s: the driver's time where plausible, else the monotonic clock at the grab; seconds from the source's
        first frame, strictly increasing.
    dropped_before: frames known to be lost between the previous frame and this one.
    image: (height, width, 3) blue, green, red bytes; None where the source only has colours.
    sample: the colours of a source that has no image (a recorded trace); None where there is an image.
    """

    time_s: float
    dropped_before: int = 0
    image: Image | None = None
    sample: Sample | None = None


@dataclass(frozen=True)
class SourceAbout:
    """What is known of a source once it is open.

    camera: plain words. width, height: pixels, 0 where there is no image. nominal_rate_hz: what the source
    promises, None if it promises nothing. controls: what the camera really took, by name of the control.
    live: whether frames come at their own pace and are lost when nobody takes them. invented: whether this light never
    shone through anybody's finger. patience_s: how long it may be silent before it counts as gone. taken: when what
    it plays was filmed; None for now, or unknown. doubt: what is to be said of its clock, empty where it is good.
    """

    camera: str
    width: int = 0
    height: int = 0
    nominal_rate_hz: float | None = None
    controls: Mapping[str, str] = field(default_factory=dict)
    live: bool = False
    invented: bool = False
    patience_s: float = 5.0
    taken: datetime | None = None
    doubt: str = ""


class FrameSource(Protocol):
    """An open source of frames. Opening happens in the constructor, which raises DawnbeatError."""

    @property
    def about(self) -> SourceAbout:
        """What is known of the source now; controls change after `settle`."""
        ...

    def frames(self) -> Iterator[Frame]:
        """Yield frames until the source ends; raises DawnbeatError if it breaks in the middle."""
        ...

    def settle(self) -> None:
        """Called once the finger lies still: lock exposure, gain, white balance and focus where possible."""
        ...

    def close(self) -> None:
        """Let the device go; calling it twice does no harm."""
        ...


@runtime_checkable
class WithScreen(FrameSource, Protocol):
    """A source with a screen of its own, which shows the runner how the reading goes."""

    def tell(self, phase: str, left_s: float, pulse_bpm: float | None, words: str) -> None:
        """Show the phase, the seconds left in it, the pulse and one sentence. "over" is the last phase."""
        ...
