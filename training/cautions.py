"""What to say wherever a maximal test, symptoms or a formula is mentioned; and how to test in the field, step by step.

The steps are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from dawnbeat.shared.errors import DawnbeatError

MAXIMAL_TEST = (
    "A maximal test is the hardest thing a heart is asked to do. Ask a doctor first if you "
    "are over 40, new to running, "
    "pregnant, take medicine for heart or blood pressure, have a heart, lung or metabolic illness, or a close relative "
    "died young of the heart; local guidance comes before this text.",
    "Don't test when you are ill, feverish, short of sleep or getting over an infection, in heat, or alone.",
    "Stop at once for chest pain or pressure, dizziness, faintness, a pulse that stumbles or races, unusual "
    "breathlessness, or pain; if it does not pass within minutes, call the emergency number.",
    "Warm up for 15 minutes, and walk and jog afterwards instead of standing still.",
)
ADDED_BEATS = (
    "Where you could have gone on, runners commonly add 2 or 3 beats (common practice, no source); it is never done "
    "by itself."
)
SELDOM_REACHED = (
    "An ordinary run seldom reaches the maximum: only a race or a test does, and a maximum that is too low makes all "
    "zones too low."
)
BELOW_18 = (
    "the formulas were made for adults and say little below 18: train by feel and the talk test, and ask a doctor or "
    "coach first"
)
TALK_TEST = (
    "Talk test: easy is where you can speak in whole sentences. If the numbers and the talk disagree, run by the talk "
    "and measure the maximum again."
)
NOT_MEDICAL = (
    "Zones are a training aid and not medical advice. Beta blockers and some other medicines lower the pulse, so zones "
    "don't fit then: ask your doctor."
)


ProtocolKey = Literal["hills", "mile", "threshold"]
PROTOCOL_KEYS: tuple[ProtocolKey, ...] = get_args(ProtocolKey)

WHO_MUST_NOT = (
    "Not for you without a doctor's yes: with a heart, lung, kidney or metabolic illness, high blood pressure, "
    "medicine for heart or blood pressure, chest pain, fainting or palpitations at any time, in pregnancy, over 40 or "
    "new to hard running, or where a close relative died young of the heart. An effort to the limit is when a hidden "
    "illness of the heart shows first; that is why a doctor comes before the test."
)
_WARM_UP = "Warm up: 15 minutes easy, then four times 15 seconds brisk with a minute easy after each."
_COOL_DOWN = "Walk for two minutes, then jog for ten; don't stand still."


@dataclass(frozen=True)
class Protocol:
    """One test. steps: in their order. reading: how its result is taken from the run. kind: of the maximum kept."""

    key: ProtocolKey
    name: str
    kind: Literal["hill repeats", "hard mile"] | None
    steps: tuple[str, ...]
    reading: str


PROTOCOLS: dict[ProtocolKey, Protocol] = {
    "hills": Protocol(
        "hills",
        "Hill repeats for the maximum",
        "hill repeats",
        (
            "Rested, not alone, on a cool day: a hill that takes two to three minutes, steep enough to work, even "
            "underfoot.",
            _WARM_UP,
            "Run up strong but in control, jog down.",
            "Run up harder, so that you could not talk at the top, jog down.",
            "Run up as hard as you can hold, and in the last 30 seconds give all you have left.",
            _COOL_DOWN,
        ),
        "The highest pulse that the run held for five seconds, artefacts left out, near the top of the last climb.",
    ),
    "mile": Protocol(
        "mile",
        "A hard mile for the maximum",
        "hard mile",
        (
            "Rested, not alone, on a cool day: a track or a flat stretch of 1600 m, four laps.",
            _WARM_UP,
            "Run two laps at about the pace of your best 5 km.",
            "Run the third lap faster, so that you want to stop at its end.",
            "Run the last lap as hard as you can, the last 200 m at a sprint.",
            _COOL_DOWN,
        ),
        "The highest pulse that the run held for five seconds, artefacts left out, in the last lap.",
    ),
    "threshold": Protocol(
        "threshold",
        "Thirty minutes for the threshold",
        None,
        (
            "Rested, on a cool day, alone in the sense that nobody paces you: a flat road or a track.",
            _WARM_UP,
            "Run 30 minutes as far as you can, evenly: the first five no faster than you could hold for an hour.",
            "Mark the beginning, so that you can find it in the run.",
            _COOL_DOWN,
        ),
        "The mean pulse of the last 20 minutes is the threshold pulse, the pace of all 30 its pace.",
    ),
}


def protocol_of(key: str) -> Protocol:
    """The protocol by its key; raises DawnbeatError for any other word."""
    for each in PROTOCOL_KEYS:
        if key == each:
            return PROTOCOLS[each]
    raise DawnbeatError(f"protocol {key!r} is unknown: say {', '.join(PROTOCOL_KEYS)}")
