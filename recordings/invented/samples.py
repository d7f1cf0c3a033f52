"""The recordings that are shipped, all invented, and how to make them again.

`python -m dawnbeat.recordings.invented.samples recordings` writes the eight samples and the fingertip video into the
folder recordings, in place of those that are there.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from dawnbeat.capture.recording import ABOUT, BEATS, TRACE, write_recording
from dawnbeat.recordings.invented.faults import ExposureStep, Faults, RateChange, Stretch
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, ROOM_FINGER, Finger
from dawnbeat.recordings.invented.finger_video import REHEARSAL_CAMERA, write_video
from dawnbeat.recordings.invented.heart import Rhythm, Wave
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError, plain_errors
from dawnbeat.shared.files import write_private
from dawnbeat.shared.trace import FloatArray

REHEARSAL_VIDEO, REHEARSAL_BEATS = "rehearsal.avi", "rehearsal.beats.csv"
VIDEO_WIDTH, VIDEO_HEIGHT = 64, 48
# Measured: of the sizes and qualities that keep two minutes near 2 MB, this keeps the mean colour best, to
# about 0.03 of 255 in green. Shading spreads the rounding of the packed blocks; pixel noise costs bytes.
_VIDEO_QUALITY, _VIDEO_PIXEL_NOISE = 94, 0.5


@dataclass(frozen=True)
class ShippedSample:
    """One shipped recording: its folder, what it is, and the verdict that it must get."""

    name: str
    usable: bool
    scenario: Scenario

    @property
    def about(self) -> dict[str, Any]:
        """What about.json says of it."""
        return {
            "began": "2001-01-01T06:30:00+00:00",
            "camera": REHEARSAL_CAMERA,
            "width": 0,
            "height": 0,
            "nominal_rate_hz": self.scenario.rate_hz,
            "dropped_frames": int(self.scenario.light().dropped_before.sum()),
            "finished": True,
            "controls": {},
            "notes": f"invented: {self.scenario.description}",
            "invented": True,
            "seed": self.scenario.seed,
            "verdict": "usable" if self.usable else "not usable",
        }


_COMMON = Faults(drift=0.004, jitter_ms=1.0, stamp_error_ms=0.2)


def _sample(
    name: str,
    rhythm: Rhythm,
    description: str,
    usable: bool = True,
    duration_s: float = 130,
    finger: Finger = LAMP_FINGER,
    **faults: Any,
) -> ShippedSample:
    """A sample with these faults beside the common ones."""
    told = replace(_COMMON, **faults)
    scenario = Scenario(rhythm, finger, told, duration_s, seed=rhythm.seed, description=description)
    return ShippedSample(name, usable, scenario)


SAMPLES = (
    _sample(
        "calm-morning",
        Rhythm(mean_hr_bpm=52, rmssd_ms=48, breathing_per_min=12, seed=101),
        "a calm morning under a lamp",
    ),
    _sample(
        "tired-morning",
        Rhythm(mean_hr_bpm=66, rmssd_ms=17, breathing_per_min=15, seed=102),
        "a higher pulse with little variability, on a webcam in room light",
        finger=replace(ROOM_FINGER, noise=(0.012, 0.012, 0.012)),
    ),
    _sample(
        "slow-heart",
        Rhythm(mean_hr_bpm=42, rmssd_ms=72, breathing_per_min=11, seed=103),
        "42 beats a minute with a dicrotic wave higher than the systolic one",
        duration_s=140,
        finger=replace(LAMP_FINGER, wave=Wave(upstroke_ms=125, dicrotic=1.05)),
    ),
    _sample(
        "premature-beats",
        Rhythm(mean_hr_bpm=58, rmssd_ms=36, breathing_per_min=13, premature_share=0.03, seed=104),
        "a few premature beats, each with a pause after it",
        duration_s=140,
    ),
    _sample(
        "motion-burst",
        Rhythm(mean_hr_bpm=55, rmssd_ms=42, breathing_per_min=13, seed=105),
        "the finger moves for eight seconds from 1:01",
        duration_s=140,
        movement=(Stretch(61.0, 8.0, 0.12),),
    ),
    _sample(
        "poor-light",
        Rhythm(mean_hr_bpm=57, rmssd_ms=40, breathing_per_min=14, seed=106),
        "so little light that the pulse drowns in the noise, at half the frame rate",
        usable=False,
        finger=replace(ROOM_FINGER, level=(22.0, 13.0, 12.0), noise=(0.25, 0.25, 0.25), shading=(6.0, 4.0, 4.0)),
        rate=(RateChange(0.0, 15.0),),
    ),
    _sample(
        "changing-rate",
        Rhythm(mean_hr_bpm=54, rmssd_ms=50, breathing_per_min=12, seed=107),
        "the camera halves its rate from 0:50 to 1:35 and exposes longer",
        duration_s=140,
        finger=replace(LAMP_FINGER, level=(205.0, 42.0, 32.0)),
        rate=(RateChange(50.0, 15.0), RateChange(95.0, 30.0)),
        exposure=(ExposureStep(49.5, 1.15), ExposureStep(95.5, 1 / 1.15)),
    ),
    _sample(
        "finger-lifted",
        Rhythm(mean_hr_bpm=56, rmssd_ms=44, breathing_per_min=13, seed=108),
        "the finger is off the lens twice, for 55 s in all",
        usable=False,
        lifted=(Stretch(30.0, 25.0), Stretch(75.0, 30.0)),
    ),
)

# The strong pulse of a warm finger, since packing the pictures costs precision.
REHEARSAL = Scenario(
    Rhythm(mean_hr_bpm=53, rmssd_ms=46, breathing_per_min=12, seed=110),
    finger=Finger(
        level=(205.0, 62.0, 42.0),
        pulse_pct=(2.2, 4.5, 3.0),
        noise=(0.02, 0.02, 0.02),
        shading=(10.0, 9.0, 7.0),
        wave=Wave(upstroke_ms=125, dicrotic=0.4),
    ),
    faults=Faults(drift=0.004),
    duration_s=120,
    seed=110,
    description="a calm morning, as video",
)


def write_samples(folder: Path) -> None:
    """Write the samples into folder, in place of those that are there; raises DawnbeatError when it can't."""
    for sample in SAMPLES:
        place = folder / sample.name
        with plain_errors("replace the sample", place):
            for name in (TRACE, ABOUT, BEATS):
                (place / name).unlink(missing_ok=True)
        scenario = sample.scenario
        write_recording(place, scenario.trace(), sample.about, scenario.beats_s)


def write_rehearsal_video(folder: Path) -> None:
    """Write the fingertip video and its true beats into folder; raises DawnbeatError when it can't."""
    write_video(
        folder / REHEARSAL_VIDEO,
        REHEARSAL,
        VIDEO_WIDTH,
        VIDEO_HEIGHT,
        _VIDEO_QUALITY,
        pixel_noise=_VIDEO_PIXEL_NOISE,
    )
    write_private(folder / REHEARSAL_BEATS, _times_csv(REHEARSAL.beats_s).encode())


def _times_csv(time_s: FloatArray) -> str:
    return "time_s\n" + "".join(f"{value:.6f}\n" for value in np.asarray(time_s))


if __name__ == "__main__":
    target = Path(sys.argv[1] if len(sys.argv) > 1 else "recordings")
    try:
        write_samples(target)
        write_rehearsal_video(target)
    except DawnbeatError as error:
        print(error, file=sys.stderr)
        raise SystemExit(2) from None
