"""What the contact gauge costs a frame, on one thread: `python tests/benchmarks/contact_cost.py`.

Targets: 0.5 ms at 640 x 480 and 1.5 ms at 1920 x 1080. Frames are noise around a finger's brightness; the
cost doesn't depend on what is in them but for how often the weights move, which the half-covered frames show.
"""

from __future__ import annotations

import time

import cv2
import numpy as np

from dawnbeat.capture.contact import ContactGauge
from dawnbeat.capture.frames import Frame, Image

FRAMES = 600
TARGETS_MS = {(640, 480): 0.5, (1920, 1080): 1.5}


def pictures(width: int, height: int, half: bool) -> list[Image]:
    """A few different frames of a covered or half-covered lens."""
    rng = np.random.default_rng(1)
    found = []
    for shift in range(4):
        picture = np.full((height, width, 3), (26.0, 38.0, 52.0)) + rng.normal(0, 2, (height, width, 3))
        if half:
            picture[:, width // 2 + 10 * shift :] = rng.uniform(0, 255, (height, width // 2 - 10 * shift, 3))
        found.append(np.clip(picture, 0, 255).astype(np.uint8))
    return found


def times_ms(frames: list[Image]) -> np.ndarray:
    """Milliseconds of each call, frames 1/30 s apart."""
    gauge = ContactGauge()
    spent = np.empty(FRAMES)
    for i in range(FRAMES):
        frame = Frame(i / 30.0, 0, frames[i % len(frames)])
        began = time.perf_counter()
        gauge.measure(frame)
        spent[i] = 1000.0 * (time.perf_counter() - began)
    return spent[30:]


def main() -> None:
    """Print one table."""
    cv2.setNumThreads(1)
    print(f"{'size':>11}  {'lens':<13} {'median':>7} {'mean':>7} {'95 %':>7}   target (ms a frame)")
    for (width, height), target_ms in TARGETS_MS.items():
        for half in (False, True):
            spent = times_ms(pictures(width, height, half))
            lens = "half covered" if half else "covered"
            print(
                f"{width:>5} x {height:<4} {lens:<13} {np.median(spent):7.3f} "
                f"{spent.mean():7.3f} {np.percentile(spent, 95):7.3f}   {target_ms}"
            )


if __name__ == "__main__":
    main()
