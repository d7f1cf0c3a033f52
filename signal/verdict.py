"""Whether a reading may be trusted, and why.

A wrong number called usable is the worst that can happen here, so every doubt speaks for "not usable", and always in
words that tell the runner what to do about it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.beats import Beats, Intervals, Reason
from dawnbeat.shared.reading import Metrics, Verdict
from dawnbeat.shared.settings import Settings

_WHAT_HAPPENED: dict[Reason, str] = {
    "movement": "the finger moved",
    "weak pulse": "the pulse was too faint",
    "missed beat": "beats could not be found",
    "extra beat": "waves between the beats looked like beats",
    "irregular beat": "beats came irregularly",
    "gap": "frames were missing or too few",
}


# A minute is the shortest length that the program offers for a reading.
_SHORT_S = 59.0


@dataclass(frozen=True)
class Evidence:
    """What a verdict rests on.

    duration_s: of the trace. frame_rate_hz: median of its frames, None for fewer than two. intervals95: as in
    Analysis. timing_error_ms: standard deviation of a beat's time, None where unknown. repetition_share,
    spectrum_share: of windows that agree with the beats about the rate.
    """

    duration_s: float
    frame_rate_hz: float | None
    beats: Beats
    intervals: Intervals
    metrics: Metrics
    intervals95: Mapping[str, tuple[float, float]]
    timing_error_ms: float | None
    repetition_share: float
    spectrum_share: float


def verdict_on(evidence: Evidence, settings: Settings) -> Verdict:
    """Usable or not, with every reason; a usable reading says what the trust rests on."""
    doubts = list(_doubts(evidence, settings))
    if doubts:
        return Verdict(False, tuple(doubts))
    kept_s = float(evidence.intervals.kept_ms.sum()) / 1000.0
    reasons = [
        f"{kept_s:.0f} s of {evidence.duration_s:.0f} s kept",
        f"beats timed to {evidence.timing_error_ms:.1f} ms",
        "beats, repetition and spectrum agree about the rate",
    ]
    if evidence.duration_s < _SHORT_S:
        reasons.append("a short reading: its 95 % intervals are wide, two minutes would say more")
    return Verdict(True, tuple(reasons))


def needed_s(duration_s: float, settings: Settings) -> float:
    """Kept time that a reading of this length needs: 90 s of two minutes or longer, the same share of a shorter one."""
    return min(settings.min_kept_s, settings.min_kept_share * duration_s)


def _doubts(evidence: Evidence, settings: Settings) -> list[str]:
    if evidence.duration_s < settings.min_duration_s:
        return [f"only {evidence.duration_s:.1f} s long: a reading needs at least {settings.min_duration_s:.0f} s"]
    if evidence.frame_rate_hz is not None and evidence.frame_rate_hz < settings.min_frame_rate_hz:
        return [
            f"only {evidence.frame_rate_hz:.1f} frames a second: give more light, "
            f"at least {settings.min_frame_rate_hz:.0f} are needed"
        ]
    intervals, metrics = evidence.intervals, evidence.metrics
    if not intervals.kept.any() or metrics.rmssd_ms is None:
        return ["no pulse could be found: cover the whole lens, hold still, and see that there is light"]
    doubts = []
    if not {"mean_hr_bpm", "rmssd_ms"} <= evidence.intervals95.keys():
        doubts.append(
            f"only {int(intervals.kept.sum())} intervals could be kept: too few to say how sure the figures are"
        )
    kept_s = float(intervals.kept_ms.sum()) / 1000.0
    wanted_s = needed_s(evidence.duration_s, settings)
    if kept_s < wanted_s:
        kept = int(np.floor(kept_s))
        doubts.append(f"only {kept} s could be kept where {wanted_s:.0f} s are needed: {_main_reason(intervals)}")
    elif kept_s < settings.min_long_share * evidence.duration_s:
        share = 100.0 * kept_s / evidence.duration_s
        doubts.append(f"only {share:.0f} % of the time could be kept: {_main_reason(intervals)}")
    likeness = float(np.median(evidence.beats.likeness))
    if likeness < settings.min_median_likeness:
        doubts.append(f"the pulse hardly stands out of the noise (likeness of the beats {likeness:.2f})")
    error_ms = evidence.timing_error_ms
    if error_ms is None:
        doubts.append("the timing of the beats can't be judged")
    elif 6.0 * error_ms**2 > settings.max_timing_share * metrics.rmssd_ms**2:
        doubts.append(
            f"the pulse is too faint to time: an error of {error_ms:.1f} ms a beat would make up much of the "
            f"variability ({metrics.rmssd_ms:.0f} ms)"
        )
    shares = (evidence.repetition_share, evidence.spectrum_share)
    # Movement spoils a window of the one more than of the other, so one may be in doubt while the other is sure.
    if max(shares) < settings.min_agreement or min(shares) < 0.75 * settings.min_agreement:
        doubts.append(
            "independent estimates of the rate disagree "
            f"(with the beats agree: repetition {100 * evidence.repetition_share:.0f} %, "
            f"spectrum {100 * evidence.spectrum_share:.0f} % of the time)"
        )
    return doubts


def _main_reason(intervals: Intervals) -> str:
    """The commonest reason among what was left out, with the times of its longest run."""
    counted: Counter[Reason] = Counter()
    for reason, length_ms in zip(intervals.left_out, intervals.interval_ms, strict=True):
        if reason is not None:
            counted[reason] += int(length_ms)
    if not counted:
        return "too few beats were found"
    main = counted.most_common(1)[0][0]
    best = (0.0, 0.0, 0.0)
    start_s: float | None = None
    for k, reason in enumerate(intervals.left_out):
        if reason is None:
            start_s = None
            continue
        if start_s is None:
            start_s = float(intervals.start_s[k])
        if reason == main:
            end_s = float(intervals.end_s[k])
            best = max(best, (end_s - start_s, start_s, end_s))
    return f"{_WHAT_HAPPENED[main]} (mostly from {clock(best[1])} to {clock(best[2])})"


def clock(time_s: float) -> str:
    """Seconds as minutes and seconds, such as 0:40."""
    return f"{int(time_s) // 60}:{int(time_s) % 60:02d}"
