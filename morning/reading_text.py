"""What is said of a reading: while it is taken, of how it ended, and of what speaks for or against it.

The only place that makes English of findings; short and gentle, and the same in terminal and window.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from dawnbeat.morning.flow import LOST, NOBODY, SLEPT, TIME_UP, Phase
from dawnbeat.shared.reading import Finding, Verdict
from dawnbeat.shared.wording import capital, figure

if TYPE_CHECKING:
    from dawnbeat.capture.contact import Contact
    from dawnbeat.capture.phone.link import News
    from dawnbeat.morning.taking import Ended, Snapshot
    from dawnbeat.shared.morning import StoredReading
    from dawnbeat.shared.reading import Analysis

LAMP = "A lamp beside the lens can get hot: take the finger off before it hurts."
NOT_MEDICAL = "Dawnbeat is not a medical device."
REHEARSAL = "This is a rehearsal with an invented finger: nothing of it is saved to your journal."
INVENTED_LIGHT = "This light is invented: nothing of it is saved to your journal."
PHONE_WARNING = (
    "The phone's browser will warn that it doesn't know this computer's certificate, because no authority signed it. "
    "Compare the certificate's SHA-256 fingerprint in the warning's details with the one here, then go on to the page: "
    "under Advanced, Details or Continue, depending on the browser."
)
GO_ON = "All is well: breathe as you like."

# The gauge's advice is a fragment; while a reading runs it becomes a whole, gentle sentence.
_GENTLE = {
    "cover the whole lens": "The finger has slipped a little: cover the whole lens again.",
    "press more lightly": "Press a little more lightly.",
    "more light": "It is rather dark: a little more light helps.",
    "too bright: tilt the lamp away": "It is very bright: turn the lamp away a little.",
}


def advice(contact: Contact) -> str:
    """The gauge's sentence with a capital letter."""
    return capital(contact.advice)


def starts_in(good_for_s: float, good_s: float) -> str:
    """How long until the reading starts by itself."""
    if good_for_s <= 0:
        return f"Starts by itself after {good_s:.0f} s of good contact"
    return f"Starts by itself in {max(1, math.ceil(good_s - good_for_s))} s"


def phase_title(phase: Phase) -> str:
    """The phase in one word."""
    return {"finger": "Finger", "settling": "Settling", "reading": "Reading", "paused": "Paused"}.get(phase, "")


def gentle(moment: Snapshot) -> str:
    """What to tell the runner now."""
    if moment.phase == "finger":
        return advice(moment.contact)
    if moment.phase == "paused":
        return f"Put the finger back on the lens: the clock waits up to {math.ceil(moment.pause_left_s)} s more."
    if not moment.contact.good:
        return _GENTLE.get(moment.contact.advice, advice(moment.contact))
    if moment.live is not None and moment.live.last_left_out == "movement":
        return "A small movement. Let the hand rest; it goes on by itself."
    return "The pulse settles first: lie still." if moment.phase == "settling" else GO_ON


def phone_line(news: News) -> str:
    """What the computer's screen says of the phone."""
    if news.trouble:
        return f"{capital(news.trouble)}."
    if news.stage == "clip":
        return f"The clip is coming: {100 * news.share:.0f} %."
    if news.hidden:
        return "The phone's page is in the background, so no frames come: bring it back to the front."
    if news.unheard_s > 0:
        return f"The phone has not been heard for {news.unheard_s:.0f} s. What it measures meanwhile is sent later."
    if news.stage == "waiting" and news.strangers:
        return "Something asked for another address and got nothing. Scan the code anew, or type all of the address."
    if news.strangers and news.stage != "over":
        return "Another device asked and got nothing: only the phone that came first is heard."
    if news.stage == "camera" and news.lamp in ("not offered", "refused"):
        return "The phone's browser can't light its lamp: take a bright room, or film with the lamp and send the clip."
    return _PHONE_STAGES[news.stage]


def clock_line(doubt: str) -> str:
    """What is said of a source's own clock that can't be trusted; empty where it can."""
    return f"{capital(doubt)}: look at the beats around it before you trust them." if doubt else ""


_PHONE_STAGES = {
    "waiting": "Waiting for the phone.",
    "opened": "The phone has the page: press Open the camera there.",
    "camera": "The phone's camera sends.",
    "over": "It is over.",
}


def ended_sentence(ended: Ended, recorded: bool) -> str:
    """One sentence on how a reading ended; empty where the time was simply up. recorded: whether it is on the disk."""
    why = ended.why
    if why == TIME_UP:
        return ""
    after = f"after {clock(ended.kept_s)}"
    kept = "; what was captured until then is not lost" if recorded else ""
    if why == LOST:
        return f"The finger was away too long, so the reading ended {after}{kept}."
    if why == SLEPT:
        return f"The computer slept or its clock was moved, so the reading ended {after}{kept}."
    if why == NOBODY:
        return "No finger came to the lens, so no reading was taken."
    if not ended.broken:
        return f"The reading ended {after} because {why}{kept}."
    why = why.split("; what was captured")[0]
    return f"The reading ended {after}: {why}{kept}."


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


def interval_words(reading: StoredReading | Analysis, name: str, unit: str, decimals: int = 0) -> str:
    """A figure of a reading with its 95 % interval and unit, such as "48 ms (42 to 55 ms)"."""
    value = getattr(reading.metrics, name)
    return "unknown" if value is None else figure(value, reading.intervals95.get(name), decimals, unit)


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
