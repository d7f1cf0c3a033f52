"""What is said while a reading is taken, and of how it ended: short, and gentle. The same in terminal and window."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from dawnbeat.morning.flow import LOST, NOBODY, SLEPT, TIME_UP, Phase

if TYPE_CHECKING:
    from dawnbeat.capture.contact import Contact
    from dawnbeat.capture.phone.link import News
    from dawnbeat.morning.taking import Ended, Snapshot

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
    return contact.advice[:1].upper() + contact.advice[1:]


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
        return f"{news.trouble[:1].upper()}{news.trouble[1:]}."
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
    return f"{doubt[:1].upper()}{doubt[1:]}: look at the beats around it before you trust them." if doubt else ""


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
    kept_s = int(ended.kept_s)
    after = f"after {kept_s // 60}:{kept_s % 60:02d}"
    kept = "; what was captured until then is kept" if recorded else ""
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
