"""A runner's context typed in one line, and shown in one."""

from __future__ import annotations

import shlex
from dataclasses import replace
from typing import Any

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import RATINGS, Context

# What may stand before the equals sign, and the item it sets.
WORDS = {
    **{name: name for name in RATINGS},
    "hours": "hours_slept",
    "ill": "ill",
    "alcohol": "alcohol",
    "run": "yesterday_run",
    "note": "note",
}
HELP = (
    "sleep, stress, fatigue and soreness from 1 (very, very good or low) to 7 (very, very bad or high); "
    "hours=7.5; "
    'ill=no; alcohol=no; run="10 km easy"; note="..."; all optional, an empty value takes the item away'
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
        changes[item] = _value(item, value) if value else None
    return replace(before, **changes)


def line_of(context: Context) -> str:
    """The context in the same words, which `context_from_line` reads back; empty where nothing was added."""
    words = []
    for word, item in WORDS.items():
        value = getattr(context, item)
        if isinstance(value, bool):
            words.append(f"{word}={'yes' if value else 'no'}")
        elif isinstance(value, float):
            words.append(f"{word}={value!r}".removesuffix(".0"))
        elif value is not None:
            words.append(f"{word}={shlex.quote(str(value))}")
    return " ".join(words)


def _value(item: str, text: str) -> Any:
    if item in ("yesterday_run", "note"):
        return text
    if item in ("ill", "alcohol"):
        word = text.strip().lower()
        if word not in ("yes", "no"):
            raise DawnbeatError(f"{item} is {text[:40]!r}: say yes or no")
        return word == "yes"
    try:
        return float(text) if item == "hours_slept" else int(text)
    except ValueError as error:
        kind = "a number of hours" if item == "hours_slept" else "a whole number from 1 to 7"
        raise DawnbeatError(f"{item} is {text[:40]!r}: give {kind}") from error
