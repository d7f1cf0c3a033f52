"""What to say wherever a maximal test, symptoms or a formula is mentioned."""

from __future__ import annotations

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


def maximal_test_text() -> str:
    """The cautions of a maximal test as one paragraph."""
    return " ".join(MAXIMAL_TEST)
