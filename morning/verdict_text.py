"""What speaks for or against a reading, in words: the only place that makes English of findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from dawnbeat.shared.reading import Finding, Verdict

_Values = Mapping[str, float]


def verdict_title(verdict: Verdict) -> str:
    """What may be used of a reading, in a few words: all, the pulse alone, or nothing."""
    if verdict.usable:
        return "usable"
    if not verdict.pulse_usable:
        return "not usable"
    if verdict.irregular:
        return "the pulse came irregularly: resting pulse usable, variability not usable"
    return "resting pulse usable, variability not usable"


def verdict_lines(verdict: Verdict) -> list[str]:
    """One line a finding, most important first; never empty, and without a full stop at the end."""
    return [finding_text(finding) for finding in verdict.findings] or ["nothing is known of why"]


def finding_text(finding: Finding) -> str:
    """One finding in plain words on one line, with what to do where that helps.

    A code that is not known here, or one whose numbers are missing, is said as it is stored.
    """
    try:
        return _TEXTS[finding.code](finding.values)
    except KeyError:
        values = ", ".join(f"{name} {value:g}" for name, value in finding.values.items())
        return finding.code.replace("_", " ") + (f" ({values})" if values else "")


def clock(time_s: float) -> str:
    """Seconds as minutes and seconds, such as 0:40."""
    return f"{int(time_s) // 60}:{int(time_s) % 60:02d}"


def _little_kept(values: _Values) -> str:
    kept_s, duration_s = values["kept_s"], values["duration_s"]
    if "needed_s" in values:
        return f"only {int(kept_s)} s could be kept where {values['needed_s']:.0f} s are needed"
    return f"only {100.0 * kept_s / duration_s:.0f} % of the time could be kept"


def _happened(what: str) -> Callable[[_Values], str]:
    return lambda values: f"{what}, mostly from {clock(values['from_s'])} to {clock(values['to_s'])}"


def _said(text: str) -> Callable[[_Values], str]:
    """The text with the finding's values filled in."""
    return lambda values: text.format_map(dict(values))


_TEXTS: Mapping[str, Callable[[_Values], str]] = {
    # What the trust of a usable reading rests on.
    "kept": _said("{kept_s:.0f} s of {duration_s:.0f} s kept"),
    "timed": _said("beats timed to {error_ms:.1f} ms"),
    "rates_agree": _said("three ways of counting agree"),
    "colour_unchecked": _said(
        "only one colour was bright enough and not clipped, so that it could not be checked for blood"
    ),
    "short": _said("a short reading: its 95 % intervals are wide, two minutes would say more"),
    "low_unknown": _said(
        "an RMSSD of {rmssd_ms:.0f} ms is no more than the way from heart to finger adds by itself (up to "
        "{way_ms:.0f} ms): light can't tell how low the heart's own is"
    ),
    # What speaks against it.
    "irregular": _said(
        "the pulse keeps coming irregularly, other than breathing makes it, and its variability says nothing then: if "
        "this is new to you, comes again or goes with feeling unwell, show it to a doctor; a camera can't tell what "
        "it is"
    ),
    "half_or_double": _said(
        "the pulse could be {half_bpm:.0f} or {double_bpm:.0f}, since every second wave may be a beat or not: count "
        "your pulse for thirty seconds, and if every second beat is weak or missing, show it to a doctor"
    ),
    "too_short": _said("only {duration_s:.1f} s long: a reading needs at least {needed_s:.0f} s"),
    "few_frames": _said(
        "only {frame_rate_hz:.1f} frames a second: give more light, at least {needed_hz:.0f} are needed"
    ),
    "no_pulse": _said("no pulse could be found: cover the whole lens, hold still, and see that there is light"),
    "few_intervals": _said("only {kept:.0f} intervals could be kept: too few to say how sure the figures are"),
    "little_kept": _little_kept,
    "movement": _happened("the finger moved"),
    "weak_pulse": _happened("the pulse was too faint"),
    "missed_beat": _happened("beats could not be found"),
    "extra_beat": _happened("waves between the beats looked like beats"),
    "irregular_beat": _happened("beats came irregularly"),
    "gap": _happened("frames were missing or too few"),
    "few_beats": _said("too few beats were found"),
    "noisy": _said("the pulse hardly stands out of the noise (likeness of the beats {likeness:.2f})"),
    "timing_unknown": _said("the timing of the beats can't be judged"),
    "faint_timing": _said(
        "the pulse is too faint to time: an error of {error_ms:.1f} ms a beat would make up much of the "
        "variability ({rmssd_ms:.0f} ms)"
    ),
    "irregular_frames": _said(
        "frames came irregularly: what stays open of their times, {error_ms:.1f} ms a beat, would make up much of the "
        "variability ({rmssd_ms:.0f} ms)"
    ),
    "no_finger": _said("a finger covered the lens for only {covered_pct:.0f} % of the time"),
    "moves_like_light": _said(
        "the colours moved as under a lamp, a shadow or a changing exposure, not as blood moves them: "
        "steady the light, and cover the whole lens"
    ),
    "not_a_pulse_wave": _said(
        "the wave has not the shape of a pulse (it rises in {rise_ms:.0f} ms, {steepness:.1f} times as steep as it "
        "falls): see that nothing but blood moves the light"
    ),
    "other_movement": _said(
        "something else moved the light, {share_pct:.0f} % as much as the pulse: hold still, and away from other lights"
    ),
    "absurd_rate": _said(
        "{frame_rate_hz:.0f} frames a second: no camera is that fast, see whether the times are in seconds"
    ),
    "rates_disagree": _said(
        "the ways of counting disagree (with the beats found agree: how often the wave repeats {repetition_pct:.0f} %, "
        "its strongest rhythm {spectrum_pct:.0f} % of the time)"
    ),
    "left_out_by_hand": _said(
        "only {kept_s:.0f} s are kept after leaving out by hand, and {needed_s:.0f} s are needed"
    ),
}
