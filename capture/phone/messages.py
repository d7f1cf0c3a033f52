"""What the page may say: every message is held to its form before anything is done with it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

MOST_TEXT_BYTES = 64 * 1024
MOST_CHUNK_BYTES = 256 * 1024
OFFSET_BYTES = 8  # each piece of a file begins with where it belongs
MOST_FRAMES = 240  # in one message
MOST_RATE_HZ = 240
MOST_FILE_BYTES = 2 * 1024**3
LEAST_STEP_S = 1e-4

_LONGEST_TIME_S = 10 * 365 * 86400.0
_MOST_COUNT = 2**53
_FACTS = frozenset({"browser", "camera", "lamp", "exposure", "white balance", "focus", "frame times", "screen"})
_FACT_LETTERS = 120
TROUBLES: Mapping[str, str] = {
    "": "",
    "permission": "the phone's browser may not use the camera: allow it for this page, then load the page again",
    "busy": "another program on the phone has the camera: close it, then press again",
    "none": "the phone's browser finds no camera: open the page in another browser, or film and send the clip",
    "ended": "the phone took the camera away from the page: press again on the phone",
    "untimed": "the phone's browser can't time its frames: film and send the clip instead",
    "full": "the phone's memory of unsent frames is full: bring it back to the network",
}


class RefusedError(Exception):
    """A message that is none of ours; the words go to both screens."""


@dataclass(frozen=True)
class Facts:
    """What the page knows of its camera. known: by name, as `about.json` will say it. rate_hz: None if unknown."""

    width: int
    height: int
    rate_hz: float | None
    known: Mapping[str, str]


@dataclass(frozen=True)
class Hello:
    """The page is there. page: a number drawn when it was loaded, by which another load is told apart."""

    page: int


@dataclass(frozen=True, slots=True)
class PhoneFrame:
    """One frame as it was measured on the phone; time_s on the phone's clock, colours 0 to 255, shares 0 to 1.

    presented: how many frames the browser had presented when it came.
    """

    time_s: float
    presented: int
    red: float
    green: float
    blue: float
    covered: float
    clipped_red: float
    clipped_green: float
    clipped_blue: float


@dataclass(frozen=True)
class Frames:
    """Consecutive frames. first: the number of the first of them. waiting: how many more lie on the phone."""

    first: int
    waiting: int
    frames: tuple[PhoneFrame, ...]


@dataclass(frozen=True)
class State:
    """hidden: the page is in the background or the screen is off. trouble: a key of TROUBLES."""

    hidden: bool
    trouble: str


@dataclass(frozen=True)
class File:
    """A clip that the page would send. modified_s: when the phone says it was last written, seconds since 1970."""

    name: str
    size: int
    modified_s: float


@dataclass(frozen=True)
class Word:
    """Nothing but a word: `alive`, or `stop` where the runner ends the reading on the phone."""

    word: str


Message = Hello | Facts | Frames | State | File | Word


def message_from(text: str | bytes) -> Message:
    """Read one message. Raises RefusedError for anything that is not exactly of one of the forms."""
    if len(text) > MOST_TEXT_BYTES:
        raise RefusedError("a message from the phone is too long")
    try:
        said = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise RefusedError("a message from the phone can't be read") from None
    if not isinstance(said, dict):
        raise RefusedError("a message from the phone has no known form")
    kind = said.get("kind")
    if kind == "frames":
        return _frames(said)
    if kind == "hello":
        return Hello(_whole(said, "page", _MOST_COUNT))
    if kind == "facts":
        return _facts(said)
    if kind == "state":
        hidden, trouble = said.get("hidden"), said.get("trouble")
        if not isinstance(hidden, bool) or not isinstance(trouble, str) or trouble not in TROUBLES:
            raise RefusedError("a message from the phone has no known form")
        return State(hidden, trouble)
    if kind == "file":
        name, modified_s = _printable(said.get("name")), _number(said.get("modified"), 0.0, _LONGEST_TIME_S * 10)
        return File(name, _whole(said, "size", _MOST_COUNT), modified_s)
    if kind in ("alive", "stop"):
        return Word(str(kind))
    raise RefusedError("a message from the phone has no known form")


def _frames(said: dict[str, Any]) -> Frames:
    rows = said.get("frames")
    if not isinstance(rows, list) or not 0 < len(rows) <= MOST_FRAMES:
        raise RefusedError("a message from the phone holds no frames, or too many")
    return Frames(
        _whole(said, "first", _MOST_COUNT), _whole(said, "waiting", _MOST_COUNT), tuple(_frame(row) for row in rows)
    )


def _frame(row: object) -> PhoneFrame:
    if not isinstance(row, list) or len(row) != 9:
        raise RefusedError("a frame from the phone has no known form")
    time_s = _number(row[0], 0.0, _LONGEST_TIME_S)
    presented = _number(row[1], 0.0, _MOST_COUNT)
    red, green, blue = (_number(each, 0.0, 255.0) for each in row[2:5])
    covered, *clipped = (_number(each, 0.0, 1.0) for each in row[5:])
    return PhoneFrame(time_s, int(presented), red, green, blue, covered, *clipped)


def _facts(said: dict[str, Any]) -> Facts:
    known = said.get("known")
    if not isinstance(known, dict) or not _FACTS.issuperset(known):
        raise RefusedError("a message from the phone has no known form")
    rate = said.get("rate")
    return Facts(
        _whole(said, "width", 20000),
        _whole(said, "height", 20000),
        None if rate is None else _number(rate, 0.0, 1000.0) or None,
        {name: _printable(value) for name, value in known.items()},
    )


def _whole(said: dict[str, Any], name: str, most: int) -> int:
    value = said.get(name)
    if type(value) is not int or not 0 <= value <= most:
        raise RefusedError(f"a message from the phone gives no fitting {name}")
    return value


def _number(value: object, least: float, most: float) -> float:
    if type(value) not in (int, float):
        raise RefusedError("a message from the phone holds something that is no number")
    number = cast(float, value)
    if not least <= number <= most:  # refuses NaN and whole numbers that no float holds, too
        raise RefusedError("a message from the phone holds a number out of range")
    return float(number)


def _printable(value: object) -> str:
    if not isinstance(value, str):
        raise RefusedError("a message from the phone has no known form")
    return "".join(letter if letter.isprintable() else "?" for letter in value[:_FACT_LETTERS])


def _no_constant(name: str) -> float:
    raise ValueError(name)
