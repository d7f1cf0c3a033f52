"""What may come from the page: messages, held to their form before anything is done with them, and a clip."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, cast

from dawnbeat.capture.frames import Sample
from dawnbeat.capture.recording import VIDEO_SUFFIXES
from dawnbeat.shared.errors import one_line
from dawnbeat.shared.files import open_private, private_folder

MOST_TEXT_BYTES = 64 * 1024
MOST_CHUNK_BYTES = 256 * 1024
OFFSET_BYTES = 8  # each piece of a file begins with where it belongs
MOST_FRAMES = 240  # in one message
MOST_RATE_HZ = 240
MOST_FILE_BYTES = 2 * 1024**3
LEAST_STEP_S = 1e-4

TOO_LONG = "a message from the phone is too long"
_NO_FORM = "a message from the phone has no known form"
_BURST_BYTES, _BYTES_PER_S = 1024 * 1024, 256 * 1024
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
_PREFIX = ".phone-clip-"
_SPARE_BYTES = 500 * 1024**2
_LEFT_BEHIND_S = 3600.0


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
class PhoneFrame(Sample):
    """One frame as it was measured on the phone, with its time on the phone's clock.

    presented: how many frames the browser had presented when it came.
    """

    presented: int = 0


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
        raise RefusedError(TOO_LONG)
    try:
        said = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise RefusedError("a message from the phone can't be read") from None
    if not isinstance(said, dict):
        raise RefusedError(_NO_FORM)
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
            raise RefusedError(_NO_FORM)
        return State(hidden, trouble)
    if kind == "file":
        name, modified_s = _printable(said.get("name")), _number(said.get("modified"), 0.0, _LONGEST_TIME_S * 10)
        return File(name, _whole(said, "size", _MOST_COUNT), modified_s)
    if kind in ("alive", "stop"):
        return Word(str(kind))
    raise RefusedError(_NO_FORM)


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
    return PhoneFrame(time_s, red, green, blue, covered, clipped[0], clipped[1], clipped[2], int(presented))


def _facts(said: dict[str, Any]) -> Facts:
    known = said.get("known")
    if not isinstance(known, dict) or not _FACTS.issuperset(known):
        raise RefusedError(_NO_FORM)
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
        raise RefusedError(_NO_FORM)
    return "".join(letter if letter.isprintable() else "?" for letter in value[:_FACT_LETTERS])


def _no_constant(name: str) -> float:
    raise ValueError(name)


class Pace:
    """How long to wait before a message is looked at, so that none can keep this computer busy."""

    def __init__(self) -> None:
        self._left = float(_BURST_BYTES)
        self._at_s: float | None = None

    def wait_s(self, size: int, now_s: float) -> float:
        """Seconds to wait for a message of so many bytes that came now."""
        since_s = 0.0 if self._at_s is None else now_s - self._at_s
        self._at_s = now_s
        self._left = min(_BURST_BYTES, self._left + since_s * _BYTES_PER_S) - size
        return max(0.0, -self._left / _BYTES_PER_S)


class Upload:
    """One clip on its way into `folder`, under a name of its own and for the user alone.

    free_bytes: what the disk has left, for tests. done: whether every byte is there. A program that was
    killed leaves its clip behind; the next upload deletes it when it is an hour old.
    """

    def __init__(self, folder: Path, free_bytes: Callable[[Path], int] | None = None) -> None:
        self.file: File | None = None
        self.path: Path | None = None
        self.stored = 0
        self.done = False
        self._folder = folder
        self._free_bytes = free_bytes or (lambda folder: shutil.disk_usage(folder).free)
        self._open: IO[bytes] | None = None

    def begin(self, file: File) -> int:
        """Get ready for a clip; returns from which byte on it is wanted, which is not 0 for one that broke off.

        Raises RefusedError where it is no clip, too large, or the disk has no room.
        """
        if self.file == file:
            return self.stored
        suffix = Path(file.name).suffix.lower()
        if suffix not in VIDEO_SUFFIXES:
            raise RefusedError("that file is no clip: choose a video, such as .mp4 or .mov")
        if file.size == 0:
            raise RefusedError("that clip is empty: film it again")
        if file.size > MOST_FILE_BYTES:
            raise RefusedError(f"that clip has {file.size / 1024**3:.1f} GB, and 2 GB are the most: film a shorter one")
        self.discard()
        try:
            private_folder(self._folder)
            self._sweep()
            if self._free_bytes(self._folder) < file.size + _SPARE_BYTES:
                raise RefusedError("the computer's disk has no room for the clip: make room there, then send it again")
            self.path = self._folder / f"{_PREFIX}{secrets.token_hex(8)}{suffix}"
            self._open = os.fdopen(open_private(self.path), "wb")
        except OSError as error:
            raise self._failed(error) from error
        self.file, self.stored, self.done = file, 0, False
        return 0

    def write(self, offset: int, data: bytes) -> int:
        """Store the next piece; returns how many bytes there are now. A piece that is there already changes nothing.

        Raises RefusedError where the piece doesn't follow, or the disk refuses it.
        """
        if self.file is None or self._open is None:
            raise RefusedError("a piece of a clip came that was not asked for")
        if offset < self.stored:  # sent again after a break
            return self.stored
        if offset > self.stored or offset + len(data) > self.file.size or not data:
            raise RefusedError("a piece of the clip doesn't fit what came before: send it again")
        try:
            self._open.write(data)
            self.stored += len(data)
            if self.stored == self.file.size:
                self._open.close()
                self._open = None
                self.done = True
        except OSError as error:
            raise self._failed(error) from error
        return self.stored

    def discard(self) -> None:
        """Delete what is there; calling it again does no harm."""
        if self._open is not None:
            self._open.close()
            self._open = None
        if self.path is not None:
            self.path.unlink(missing_ok=True)
            with contextlib.suppress(OSError):  # another clip is in it
                self._folder.rmdir()
        self.file, self.path, self.stored, self.done = None, None, 0, False

    def _failed(self, error: OSError) -> RefusedError:
        self.discard()
        return RefusedError(f"the computer can't store the clip ({one_line(error.strerror or error)})")

    def _sweep(self) -> None:
        for each in self._folder.glob(f"{_PREFIX}*"):
            if time.time() - each.stat().st_mtime > _LEFT_BEHIND_S:
                each.unlink(missing_ok=True)
