"""Mornings in lines of text: a table of cells, small bars, and what the runner adds, typed and shown in one line."""

from __future__ import annotations

import math
import shlex
from collections.abc import Sequence
from dataclasses import Field, fields, replace
from typing import Any

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Context, StoredReading
from dawnbeat.shared.wording import figure

HEADINGS = ("Day", "Time", "Posture", "Pulse, bpm", "RMSSD, ms", "lnRMSSD", "Verdict", "Context")
_BARS = "▁▂▃▄▅▆▇█"


def table(readings: Sequence[StoredReading]) -> list[tuple[str, ...]]:
    """One tuple of cells a reading, under HEADINGS; figures with their 95 % intervals where known."""
    return [
        (
            reading.local_date.isoformat(),
            f"{reading.began:%H:%M}",
            reading.posture,
            _figure(reading, "mean_hr_bpm", 0),
            _figure(reading, "rmssd_ms", 0),
            _figure(reading, "ln_rmssd", 2),
            _verdict(reading),
            line_of(reading.context),
        )
        for reading in readings
    ]


def _figure(reading: StoredReading, name: str, decimals: int) -> str:
    return figure(getattr(reading.metrics, name), reading.intervals95.get(name), decimals)


def sparkline(values: Sequence[float | None]) -> str:
    """One bar a value between the lowest and the highest; a blank where there is none."""
    known = [value for value in values if value is not None and math.isfinite(value)]
    if not known:
        return " " * len(values)
    low, spread = min(known), max(known) - min(known)
    return "".join(
        " "
        if value is None or not math.isfinite(value)
        else _BARS[round((value - low) / spread * (len(_BARS) - 1)) if spread else len(_BARS) // 2]
        for value in values
    )


def _verdict(reading: StoredReading) -> str:
    if not reading.verdict.usable:
        return "not usable"
    return "usable" if reading.counts else "usable, another counts"


# What may stand before the equals sign, and the item it sets.
WORDS: dict[str, Field[Any]] = {each.metadata.get("word", each.name): each for each in fields(Context)}
HELP = (
    "sleep, stress, fatigue and soreness from 1 (very, very good or low) to 7 (very, very bad or high); "
    'hours=7.5; ill=no; well=yes (after an illness); alcohol=no; run="10 km easy"; note="..."; cycle=12 (day of it); '
    'heat=yes; altitude=1800 (m); travel=6 (h of time zones); medicine="..."; apart=yes (keep this morning out of the '
    "usual range); all optional, an empty value takes the item away"
)
NOTHING = Context()


def context_from_line(line: str, before: Context = NOTHING) -> Context:
    """Change `before` by words such as: sleep=2 hours=7.5 ill=no run="10 km easy".

    An item that is not named stays; one with nothing after the equals sign is taken away. Raises
    DawnbeatError for an unknown word or a value out of range.
    """
    try:
        words = shlex.split(line)
    except ValueError as error:
        raise DawnbeatError(f"{line[:60]!r} has a quote without its partner: close it") from error
    changes: dict[str, Any] = {}
    for word in words:
        name, equals, value = word.partition("=")
        item = WORDS.get(name.strip().lower())
        if item is None or not equals:
            raise DawnbeatError(f"{word[:60]!r} is not understood: write {HELP}")
        changes[item.name] = item_from(item.name, value)
    return replace(before, **changes)


def line_of(context: Context) -> str:
    """The context in the same words, which `context_from_line` reads back; empty where nothing was added."""
    words = []
    for word, item in WORDS.items():
        value = getattr(context, item.name)
        if isinstance(value, bool):
            words.append(f"{word}={'yes' if value else 'no'}")
        elif isinstance(value, float):
            words.append(f"{word}={value!r}".removesuffix(".0"))
        elif value is not None:
            words.append(f"{word}={shlex.quote(str(value))}")
    return " ".join(words)


def item_from(name: str, typed: str) -> Any:
    """The value of one item of the context as somebody typed it; None for nothing.

    Raises DawnbeatError where it can't be read; whether it is in its range is for Context to say.
    """
    facts = next(each.metadata for each in fields(Context) if each.name == name)
    if not typed:
        return None
    if "flag" in facts:
        answer = typed.strip().lower()
        if answer not in ("yes", "no"):
            raise DawnbeatError(f"{name} is {typed[:40]!r}: say yes or no")
        return answer == "yes"
    if "low" not in facts:
        return typed
    try:
        return int(typed) if facts["whole"] else float(typed.replace(",", "."))
    except ValueError as error:
        kind = "a whole number" if facts["whole"] else "a number"
        bounds = f"from {facts['low']} to {facts['high']} {facts['unit']}".rstrip()
        raise DawnbeatError(f"{name} is {typed[:40]!r}: give {kind} {bounds}") from error
