"""What one run says: measured time, time at each pulse, its highest pulse, drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from dawnbeat.shared.trace import FloatArray, IntArray
from dawnbeat.training.cleaning import codes_of
from dawnbeat.training.run import MARK_KINDS, PULSE_HIGH, Mark, RunFigures, Samples
from dawnbeat.training.zones import Zones

BINS = int(PULSE_HIGH) + 1
PEAK_HOLD_S = 5.0
DRIFT_MINIMUM_S = 1800.0
_MOVING_M_PER_S = 1.0


def figures_of(samples: Samples, marks: Sequence[Mark]) -> RunFigures:
    """The figures of a run whose marks are these; overruled ones count as measured."""
    steps_ms = np.round(1000 * np.diff(samples.time_s)).astype(np.int64)
    codes = codes_of(samples, marks)
    by_code = np.bincount(codes, weights=steps_ms, minlength=len(MARK_KINDS) + 1)
    pause = 1 + MARK_KINDS.index("pause")
    counts = codes == 0
    bpm = np.floor(samples.pulse_bpm[:-1][counts] + 0.5).astype(np.int64)
    at_bpm = np.round(np.bincount(bpm, weights=steps_ms[counts], minlength=BINS)).astype(np.int64)
    measured_ms = int(at_bpm.sum())
    mean = float(at_bpm @ np.arange(BINS)) / measured_ms if measured_ms else None
    known = samples.distance_m[np.isfinite(samples.distance_m)]
    return RunFigures(
        elapsed_s=float(steps_ms.sum()) / 1000,
        duration_s=float(steps_ms.sum() - by_code[pause]) / 1000,
        measured_s=measured_ms / 1000,
        missing_s={
            kind: float(by_code[1 + place]) / 1000
            for place, kind in enumerate(MARK_KINDS)
            if kind != "pause" and by_code[1 + place]
        },
        distance_m=float(known[-1]) if known.size and known[-1] > 0 else None,
        mean_bpm=mean,
        peak_bpm=_peak(samples, codes),
        drift_pct=drift_pct(samples, codes),
        ms_at_bpm=at_bpm,
    )


def figures_by_hand(duration_s: float, distance_m: float | None) -> RunFigures:
    """The figures of a run without samples."""
    missing = {"drop-out": duration_s}
    nothing = np.zeros(BINS, dtype=np.int64)
    return RunFigures(duration_s, duration_s, 0.0, missing, distance_m, None, None, None, nothing)


def drift_pct(samples: Samples, codes: IntArray) -> float | None:
    """Metres a beat in the first half of the measured running time against the second; see wording.DRIFT_IN_WORDS.

    Positive where the pulse rose against the pace. None for under half an hour with pulse and distance.
    """
    steps_s, way_m = np.diff(samples.time_s), np.diff(samples.distance_m)
    with np.errstate(invalid="ignore"):
        moving = (codes == 0) & (way_m >= _MOVING_M_PER_S * steps_s)
    steps_s, way_m, pulse = steps_s[moving], way_m[moving], samples.pulse_bpm[:-1][moving]
    spent_s = np.cumsum(steps_s)
    if spent_s.size == 0 or spent_s[-1] < DRIFT_MINIMUM_S:
        return None
    first = spent_s <= spent_s[-1] / 2
    early = way_m[first].sum() / (pulse[first] @ steps_s[first])
    late = way_m[~first].sum() / (pulse[~first] @ steps_s[~first])
    return float(100 * (early - late) / early)


@dataclass(frozen=True)
class Judged:
    """A run against zones. zone_s: seconds in each zone, summing to the measured time.

    easy_share: of the measured time at or below the top of easy, 0 to 1; None where nothing was measured.
    above_s: seconds above it.
    """

    zone_s: tuple[float, ...]
    easy_share: float | None
    above_s: float
    top_of_easy_bpm: int


def judge(ms_at_bpm: IntArray, zones: Zones) -> Judged:
    """Time in zones of the measured milliseconds at each whole pulse, (241,)."""
    cuts = [0, *(min(top + 1, BINS) for top in zones.tops_bpm), BINS]
    total_ms = np.concatenate(([0], np.cumsum(ms_at_bpm)))
    zone_ms = np.diff(total_ms[cuts])
    easy = int(total_ms[min(zones.top_of_easy_bpm + 1, BINS)])
    measured = int(total_ms[-1])
    return Judged(
        zone_s=tuple((zone_ms / 1000).tolist()),
        easy_share=easy / measured if measured else None,
        above_s=(measured - easy) / 1000,
        top_of_easy_bpm=zones.top_of_easy_bpm,
    )


def _peak(samples: Samples, codes: IntArray) -> float | None:
    counts = codes == 0
    if not counts.any():
        return None
    step_s = float(np.median(np.diff(samples.time_s)))
    size = max(1, round(PEAK_HOLD_S / step_s))
    pulse: FloatArray = np.where(counts, samples.pulse_bpm[:-1], -np.inf)
    held = ndimage.minimum_filter1d(pulse, size=min(size, pulse.size), mode="constant", cval=-np.inf)
    highest = float(held.max())
    return highest if np.isfinite(highest) else None
