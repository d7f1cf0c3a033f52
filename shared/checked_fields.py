"""Fields of a frozen dataclass that say in their metadata what they may hold, and the one check of them.

Every field made here has `meaning` in its metadata. A number also has `low`, `high`, `unit` and `whole`; a choice has
`choices`; a text has `limit`. Where the default is None, None stands for "not given".
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import field
from typing import Any, TypeVar

from dawnbeat.shared.errors import DawnbeatError

TEXT_LIMIT = 20_000

Name = TypeVar("Name", bound=str)


def number(
    default: float | None, low: float, high: float, unit: str, meaning: str, whole: bool = False, **more: Any
) -> Any:
    """A number from `low` to `high`, both included; whole: without a fraction."""
    return field(
        default=default,
        metadata={"low": low, "high": high, "unit": unit, "meaning": meaning, "whole": whole, **more},
    )


def choice(default: Any, choices: Sequence[Any], meaning: str, **more: Any) -> Any:
    """One of `choices`."""
    return field(default=default, metadata={"choices": tuple(choices), "unit": "", "meaning": meaning, **more})


def flag(default: bool | None, meaning: str, **more: Any) -> Any:
    """True or False."""
    return field(default=default, metadata={"flag": True, "unit": "yes or no", "meaning": meaning, **more})


def text(default: str | None, meaning: str, limit: int = TEXT_LIMIT, **more: Any) -> Any:
    """A text of at most `limit` characters, without NUL and lone surrogates."""
    return field(default=default, metadata={"limit": limit, "unit": "", "meaning": meaning, **more})


def check_fields(holder: Any, called: str = "") -> None:
    """Check every field of a dataclass made above, for its `__post_init__`; numbers become plain int or float.

    called: what stands before a field's name in the message, such as "setting ". Raises DawnbeatError when a value has
    the wrong type or lies outside its range.
    """
    for each in dataclasses.fields(holder):
        value = getattr(holder, each.name)
        if each.metadata and not (value is None and each.default is None):
            checked = checked_value(each, value, called)
            if checked is not value:
                object.__setattr__(holder, each.name, checked)


def checked_value(about: dataclasses.Field[Any], value: Any, called: str = "") -> Any:
    """The value that this field may hold; raises DawnbeatError, as check_fields does."""
    name, facts = f"{called}{about.name}", about.metadata
    if "choices" in facts:
        # A number is no choice by being equal to one: True is not 1.
        if not any(value == each and type(value) is type(each) for each in facts["choices"]):
            known = ", ".join(str(each) for each in facts["choices"])
            raise DawnbeatError(f"{name} is {_short(value)}: choose one of {known}")
    elif "flag" in facts:
        if type(value) is not bool:
            raise DawnbeatError(f"{name} is {_short(value)}: say yes or no")
    elif "low" in facts:
        return _number(name, facts, value)
    elif "limit" in facts:
        return plain_text(name, value, facts["limit"])
    return value


def one_of(what: str, text: str, choices: Sequence[Name]) -> Name:
    """The one of `choices` that a text names; raises DawnbeatError for any other word. what: such as "posture"."""
    for each in choices:
        if text == each:
            return each
    *most, last = choices
    raise DawnbeatError(f"{what} {text!r} is unknown: say {', '.join(most)} or {last}")


def plain_text(name: str, value: Any, limit: int = TEXT_LIMIT) -> str:
    """The text itself; raises DawnbeatError when it is none, too long, or holds NUL or a lone surrogate."""
    if not isinstance(value, str):
        raise DawnbeatError(f"{name} is {_short(value)}: give a text")
    if len(value) > limit:
        raise DawnbeatError(f"the text of {name} is too long: keep it under {limit} characters")
    if "\0" in value or (not value.isascii() and any("\ud800" <= letter <= "\udfff" for letter in value)):
        raise DawnbeatError(f"the text of {name} is not valid Unicode: type it again")
    return value


def _number(name: str, facts: Any, value: Any) -> float:
    low, high, unit = facts["low"], facts["high"], facts["unit"]
    kind = "a whole number" if facts["whole"] else "a number"
    bounds = f"from {low} to {high} {unit}".rstrip()
    if isinstance(value, bool) or not isinstance(value, int if facts["whole"] else int | float):
        raise DawnbeatError(f"{name} is {_short(value)}: give {kind} {bounds}")
    if not low <= value <= high:
        raise DawnbeatError(f"{name} is {value}: it goes {bounds}")
    return value if facts["whole"] else float(value)


def _short(value: Any) -> str:
    words = repr(value)
    return words if len(words) <= 60 else f"{words[:57]}..."
