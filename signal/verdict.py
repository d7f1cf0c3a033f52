"""Which figures of a reading may be trusted, and why.

A wrong number called usable is the worst that can happen here, so every doubt speaks against it. A doubt is a code with
its numbers; the words are made where they are shown.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from dawnbeat.shared.reading import Beats, Finding, Intervals, Metrics, Reason, Verdict
from dawnbeat.shared.settings import Settings
from dawnbeat.signal.figures import WAY_MS
from dawnbeat.signal.origin import Origin
from dawnbeat.signal.rhythm import HeartRhythm

# No camera that a runner has takes so many frames a second.
ABSURD_RATE_HZ = 2000.0
# A minute is the shortest length that the program offers for a reading.
_SHORT_S = 59.0
# Of a mean pulse the same errors matter less: doubts that touch only the differences from beat to beat. All others bar
# the pulse too.
_OF_VARIABILITY_ONLY = frozenset({"irregular", "little_kept", "faint_timing", "irregular_frames"})
# What an irregular heart does to the other measures, which says nothing against the light.
_OF_IRREGULAR_HEARTS = frozenset(
    {
        *("no_pulse", "few_intervals", "little_kept", "few_beats", "faint_timing", "rates_disagree"),
        *("weak_pulse", "missed_beat", "extra_beat", "irregular_beat", "other_movement"),
    }
)
# What moves like this is no heart, so that nothing is said of its rhythm.
_NO_HEART = frozenset({"absurd_rate", "no_finger", "moves_like_light", "not_a_pulse_wave"})
# A finger that was on the lens for less of the time than this was hardly laid on it.
_LEAST_COVERED_SHARE = 0.5
# Light moves all colours by shares this near to one another. So does blood in some dim fingers, whose wave then rises
# far steeper than it falls; but not quite so near as a lamp.
_JUST_ALIKE_SHARE, _ALIKE_SHARE = 0.03, 0.07
_PLAINLY_BLOOD_SHARE, _MOST_SHARE = 0.93, 1.15
# Blood takes up green and blue far more than red. A finger that nods with its beats, or one in dim light, may still
# move red more than green, but then it moves blue as well; an amber lamp doesn't.
_MOST_RED_SHARE = 1.07
# A glowing wire moves colours as one over their wavelength (Wien): red 0.87 to 0.92 of green, blue 1.14 to 1.2.
_GLOWING_RED_SHARE, _GLOWING_BLUE_SHARE = 0.8, 1.1
# Of fingers blue moves 0.55 to 0.9 times as much as green; what moves it far less is said to be blood by nothing.
_LEAST_BLUE_SHARE = 0.45
_PLAINLY_A_PULSE, _MAYBE_A_PULSE = 3.3, 2.0
# In recordings of fingers by cameras and oximeters (Hoffman et al. 2022, npj Digit Med 5:146, and PhysioNet's BIDMC and
# 2015 challenge) the least steep wave rises 1.45 times as steep as it falls, at any rate up to 128 a minute. Where the
# colours say nothing more is asked, and at a rate at which a steady swing has edges as steep as a pulse's.
_LEAST_STEEPNESS, _LEAST_STEEPNESS_OF_BLOOD, _LEAST_OF_BLUNT = 1.35, 1.0, 1.25
_FAST_BPM, _STEEPER_WHEN_FAST = 92.0, 0.3
# The same recordings rise from 10 to 90 % in 72 ms at the least, and their edges are 75 to 175 ms long.
_SHARPEST_RISE_MS = 69.0
_BLUNT_EDGE_MS, _BLUNTEST_EDGE_MS = 165.0, 195.0
# A steady swing's edge is the period over pi; that of a slow heart's wave may be long, yet stays well below.
_BLUNT_SHARE, _BLUNTEST_SHARE = 0.5, 0.6
# A light that swings at the rate of a pulse has edges longer than this.
_SWINGING_EDGE_MS, _FAST_SWINGING_EDGE_MS = 142.0, 125.0
# What is switched on nears its level ever more slowly, so that its rise is long beside its swing over its steepest
# slope; theirs is 0.9 to 1.15 times as long, or 1.3 where the edge has a dent. And a machine's heights hardly spread,
# theirs by 0.028 or more. Where the colours don't speak for blood, the longer the rise, the more of a spread is asked.
_LEAST_HEIGHT_SPREAD, _SPREAD_PER_LONG_RISE, _MOST_SPREAD_ASKED = 0.012, 0.25, 0.05
_LEAST_HEIGHT_SPREAD_OF_BLOOD = 0.004
# They leave at most 0.04 of a beat's power unexplained, a fifth of its height.
_MOST_OTHER_SHARE = 0.055
# Half a minute of good intervals names the pulse to a beat or two a minute.
_KEPT_FOR_PULSE_S = 30.0


@dataclass(frozen=True)
class Evidence:
    """What a verdict rests on.

    duration_s: of the trace. frame_rate_hz: median of its frames, None for fewer than two. intervals95: as in
    Analysis. timing_error_ms: standard deviation of a beat's time, None where unknown. repetition_share,
    spectrum_share: of windows that agree with the beats about the rate. rhythm: of all beats that were found. origin:
    what the light says of where it came from. covered_share: of the frames that a finger covered, None where nobody
    looked. clock_ms: what of the timing error is the frames' clock's.
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
    rhythm: HeartRhythm
    origin: Origin = field(default_factory=Origin)
    covered_share: float | None = None
    clock_ms: float = 0.0


def verdict_on(evidence: Evidence, settings: Settings) -> Verdict:
    """What of the reading may be used, with every doubt; a usable reading says what the trust rests on."""
    rhythm = evidence.rhythm
    doubts = _doubts(evidence, settings)
    if any(doubt.code in _NO_HEART for doubt in doubts):
        return Verdict(False, False, False, tuple(sorted(doubts, key=lambda doubt: doubt.code not in _NO_HEART)))
    doubts = [*_of_the_heart(rhythm), *doubts]
    kept_s = float(evidence.intervals.kept_ms.sum()) / 1000.0
    if doubts:
        codes = {doubt.code for doubt in doubts}
        unchecked = evidence.origin.red_share is None and evidence.origin.blue_share is None
        # Of one colour only the shape speaks for blood, and noise hides that.
        of_pulse = not codes <= _OF_VARIABILITY_ONLY or (unchecked and "faint_timing" in codes)
        pulse_usable = not of_pulse and bool(rhythm.countable) and kept_s >= _KEPT_FOR_PULSE_S
        if rhythm.irregular:
            doubts = [doubt for doubt in doubts if doubt.code not in _OF_IRREGULAR_HEARTS]
        return Verdict(False, pulse_usable, bool(rhythm.irregular), tuple(doubts))
    findings = [
        Finding("kept", {"kept_s": kept_s, "duration_s": evidence.duration_s}),
        Finding("timed", {"error_ms": evidence.timing_error_ms or 0.0}),
        Finding("rates_agree"),
    ]
    if evidence.origin.red_share is None and evidence.origin.blue_share is None:
        findings.append(Finding("colour_unchecked"))
    if evidence.duration_s < _SHORT_S:
        findings.append(Finding("short", {"duration_s": evidence.duration_s}))
    rmssd_ms = evidence.metrics.rmssd_ms
    if rmssd_ms is not None and rmssd_ms < WAY_MS:
        findings.append(Finding("low_unknown", {"rmssd_ms": rmssd_ms, "way_ms": WAY_MS}))
    return Verdict(True, True, False, tuple(findings))


def needed_s(duration_s: float, settings: Settings) -> float:
    """Kept time that a reading of this length needs: 90 s of two minutes or longer, the same share of a shorter one."""
    return min(settings.min_kept_s, settings.min_kept_share * duration_s)


def _of_the_heart(rhythm: HeartRhythm) -> list[Finding]:
    findings = []
    if rhythm.irregular:
        findings.append(Finding("irregular", {"unpredicted_pct": 100.0 * rhythm.unpredicted_share}))
    if rhythm.half_bpm is not None and rhythm.double_bpm is not None:
        findings.append(Finding("half_or_double", {"half_bpm": rhythm.half_bpm, "double_bpm": rhythm.double_bpm}))
    return findings


def _doubts(evidence: Evidence, settings: Settings) -> list[Finding]:
    if evidence.frame_rate_hz is not None and evidence.frame_rate_hz > ABSURD_RATE_HZ:
        return [Finding("absurd_rate", {"frame_rate_hz": evidence.frame_rate_hz})]
    if evidence.duration_s < settings.min_duration_s:
        return [Finding("too_short", {"duration_s": evidence.duration_s, "needed_s": settings.min_duration_s})]
    if evidence.frame_rate_hz is not None and evidence.frame_rate_hz < settings.min_frame_rate_hz:
        return [
            Finding("few_frames", {"frame_rate_hz": evidence.frame_rate_hz, "needed_hz": settings.min_frame_rate_hz})
        ]
    intervals, metrics = evidence.intervals, evidence.metrics
    if not intervals.kept.any() or metrics.rmssd_ms is None:
        return [Finding("no_pulse")]
    doubts = []
    if not {"mean_hr_bpm", "rmssd_ms"} <= evidence.intervals95.keys():
        doubts.append(Finding("few_intervals", {"kept": float(intervals.kept.sum())}))
    kept_s = float(intervals.kept_ms.sum()) / 1000.0
    wanted_s = needed_s(evidence.duration_s, settings)
    if kept_s < max(wanted_s, settings.min_long_share * evidence.duration_s):
        values = {"kept_s": kept_s, "duration_s": evidence.duration_s}
        if kept_s < wanted_s:
            values["needed_s"] = wanted_s
        doubts += [Finding("little_kept", values), *_main_reason(intervals)]
    likeness = float(np.median(evidence.beats.likeness))
    if likeness < settings.min_median_likeness:
        doubts.append(Finding("noisy", {"likeness": likeness}))
    error_ms = evidence.timing_error_ms
    if error_ms is None:
        doubts.append(Finding("timing_unknown"))
    elif 6.0 * error_ms**2 > settings.max_timing_share * metrics.rmssd_ms**2:
        # The larger part of the error says what is to be done about it.
        code = "irregular_frames" if 2.0 * evidence.clock_ms**2 > error_ms**2 else "faint_timing"
        doubts.append(Finding(code, {"error_ms": error_ms, "rmssd_ms": metrics.rmssd_ms}))
    shares = (evidence.repetition_share, evidence.spectrum_share)
    # Movement spoils a window of the one more than of the other, so one may be in doubt while the other is sure.
    if max(shares) < settings.min_agreement or min(shares) < 0.75 * settings.min_agreement:
        agreeing = {
            "repetition_pct": 100.0 * evidence.repetition_share,
            "spectrum_pct": 100.0 * evidence.spectrum_share,
        }
        doubts.append(Finding("rates_disagree", agreeing))
    doubts += _doubts_of_origin(evidence)
    return doubts


def _doubts_of_origin(evidence: Evidence) -> list[Finding]:
    """Whether it was a finger, and blood."""
    doubts = []
    if evidence.covered_share is not None and evidence.covered_share < _LEAST_COVERED_SHARE:
        doubts.append(Finding("no_finger", {"covered_pct": 100.0 * evidence.covered_share}))
    origin, bpm = evidence.origin, evidence.metrics.mean_hr_bpm or 0.0
    steepness = np.inf if origin.steepness is None else origin.steepness
    blood = moved_by_blood(origin, steepness)
    if blood is False:
        values = {"red_pct": origin.red_share, "blue_pct": origin.blue_share}
        doubts.append(
            Finding("moves_like_light", {name: 100.0 * share for name, share in values.items() if share is not None})
        )
    if origin.rise_ms is not None and origin.edge_ms is not None and origin.steepness is not None:
        least = _LEAST_STEEPNESS_OF_BLOOD if blood else _LEAST_STEEPNESS if blood is None else 0.0
        least += _STEEPER_WHEN_FAST if bpm > _FAST_BPM else 0.0
        if blood is None and origin.edge_ms > (_SWINGING_EDGE_MS if bpm < _FAST_BPM else _FAST_SWINGING_EDGE_MS):
            least = _MAYBE_A_PULSE
        swing_ms = 60000.0 / np.pi / max(bpm, 1.0)
        blunt = origin.edge_ms > max(_BLUNT_EDGE_MS, _BLUNT_SHARE * swing_ms)
        # A steady swing rises no steeper than it falls: only a heart's wave can be blunt, blood and so lopsided.
        plainly = blood is True and steepness > _MAYBE_A_PULSE
        if (
            origin.rise_ms < _SHARPEST_RISE_MS
            or (not plainly and origin.edge_ms > max(_BLUNTEST_EDGE_MS, _BLUNTEST_SHARE * swing_ms))
            or steepness < (max(least, _LEAST_OF_BLUNT) if blunt else least)
            or _like_a_machine(origin, blood)
        ):
            doubts.append(Finding("not_a_pulse_wave", {"rise_ms": origin.rise_ms, "steepness": origin.steepness}))
    if origin.other_share is not None and origin.other_share > _MOST_OTHER_SHARE:
        doubts.append(Finding("other_movement", {"share_pct": 100.0 * float(np.sqrt(origin.other_share))}))
    return doubts


def moved_by_blood(origin: Origin, steepness: float) -> bool | None:
    """Whether the colours moved as blood moves them; None where they don't say."""
    red, blue = origin.red_share, origin.blue_share
    shares = [share for share in (red, blue) if share is not None]
    if not shares:
        return None
    apart = max(abs(share - 1.0) for share in shares)
    if apart < _JUST_ALIKE_SHARE or (apart < _ALIKE_SHARE and steepness < _PLAINLY_A_PULSE):
        return False
    if red is not None and blue is not None:
        amber = red > _MOST_RED_SHARE and blue < _LEAST_BLUE_SHARE
        if amber or (_GLOWING_RED_SHARE < red < 1.0 and blue > _GLOWING_BLUE_SHARE):
            return False
    # Light through a thick finger can move red more than green, but hardly blue.
    coloured = blue is not None and (
        blue > _MOST_SHARE or (red is not None and red > _MOST_SHARE and blue > _PLAINLY_BLOOD_SHARE)
    )
    if coloured and steepness < _MAYBE_A_PULSE:
        return False
    if blue is not None and blue < _LEAST_BLUE_SHARE:
        return None
    if red is not None:
        return True if red < _PLAINLY_BLOOD_SHARE else None
    return True if blue is not None and blue < _PLAINLY_BLOOD_SHARE else None


def _like_a_machine(origin: Origin, blood: bool | None) -> bool:
    """Whether beats are all of one height, or nearly so with the edge of something that was switched on."""
    if origin.height_spread is None or origin.rise_ms is None or origin.edge_ms is None:
        return False
    if blood:
        return origin.height_spread < _LEAST_HEIGHT_SPREAD_OF_BLOOD
    long = max(origin.rise_ms / max(origin.edge_ms, 1.0) - 1.0, 0.0)
    return origin.height_spread < min(_LEAST_HEIGHT_SPREAD + _SPREAD_PER_LONG_RISE * long, _MOST_SPREAD_ASKED)


def _main_reason(intervals: Intervals) -> list[Finding]:
    """The commonest reason among what was left out, with the longest run that it lies in; or that beats are few."""
    counted: Counter[Reason] = Counter()
    for reason, length_ms in zip(intervals.left_out, intervals.interval_ms, strict=True):
        if reason is not None:
            counted[reason] += int(length_ms)
    if not counted:
        return [Finding("few_beats")]
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
    return [Finding(main.replace(" ", "_"), {"from_s": best[1], "to_s": best[2]})]
