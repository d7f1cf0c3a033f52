"""From the words of a user to an open source of frames and to when its light was taken; recordings below a folder."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dawnbeat.capture.frames import FrameSource
from dawnbeat.capture.recording import (
    ABOUT,
    BEATS,
    TRACE,
    VIDEO,
    VIDEO_SUFFIXES,
    Recording,
    about_beside,
    is_video,
    read_recording,
    times_beside,
)
from dawnbeat.capture.trace_csv import read_times_csv
from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.wording import past_moment

if TYPE_CHECKING:
    from dawnbeat.capture.phone.server import PhoneServer

HELP = "a camera number, an http, https or rtsp address, phone, a recording, a video file, or rehearsal"
REHEARSAL = "rehearsal"
PHONE = "phone"
CLIPS = "phone-clips"
_COLOURS = {"red", "green", "blue"}
_DEEPEST = 4
FILTER = (
    "Recordings (*.csv *.csv.gz " + " ".join(f"*{suffix}" for suffix in sorted(VIDEO_SUFFIXES)) + ");;All files (*)"
)


def open_source(words: str, *, width: int = 640, height: int = 480, **rehearsal: Any) -> FrameSource:
    """Open the source that `words` name; the caller closes it.

    "0", "camera" or "camera:0" for a camera; an http, https or rtsp address; the path of a recording or of a
    video file; "rehearsal" for the drawn finger, to which further keywords go. A file or folder of the same
    name is reached as "./0". Raises DawnbeatError when there is no such source or it can't be opened.
    """
    words = words.strip()
    camera = re.fullmatch(r"(?:camera:?)?(\d{1,4})|camera", words, flags=re.IGNORECASE | re.ASCII)
    if camera:
        from dawnbeat.capture.camera import CameraSource, camera_name

        index = int(camera[1] or 0)
        return CameraSource(index, width, height, name=camera_name(index))
    if is_rehearsal(words):
        from dawnbeat.recordings.invented.finger_video import RehearsalSource

        return RehearsalSource(**rehearsal)
    if "://" in words:
        from dawnbeat.capture.live import StreamSource

        return StreamSource(words)
    if is_phone(words):
        raise DawnbeatError("a phone shows its page first: take the reading with `dawnbeat read`, or on the page Read")
    return _open_path(words)


def is_phone(words: str) -> bool:
    """Whether the words mean the browser of a phone."""
    return words.strip().lower() == PHONE


def open_phone(where: str = "", port: int | None = None) -> PhoneServer:
    """Open the address for the phone's browser; `wait_for_phone` then gives the source, and `stop` closes it.

    where: one of this computer's addresses or network cards; empty for the usual one. Raises DawnbeatError where there
    is no network, or it can't be opened.
    """
    from dawnbeat.capture.phone.identity import addresses, certificate_for, chosen_address
    from dawnbeat.capture.phone.server import PhoneServer
    from dawnbeat.journal.folder import data_folder
    from dawnbeat.morning.choices import config_folder

    address = chosen_address(where, addresses())
    return PhoneServer(address.ip, certificate_for(address.ip, config_folder()), data_folder() / CLIPS, port)


def is_rehearsal(words: str) -> bool:
    """Whether the words mean the rehearsal finger."""
    return words.strip().lower() == REHEARSAL


def rehearsal_or(words: str, seconds: float, seed: int = 1) -> Callable[[], FrameSource]:
    """A function that opens the source; the rehearsal finger then keeps its own pace, for so many seconds."""
    more: dict[str, Any] = {"realtime": True, "duration_s": seconds, "seed": seed} if is_rehearsal(words) else {}
    return lambda: open_source(words, **more)


def file_named(words: str) -> Path | None:
    """The file or folder that the words name; None where they name light that comes now."""
    words = words.strip()
    if (
        not words
        or "://" in words
        or is_rehearsal(words)
        or is_phone(words)
        or re.fullmatch(r"(camera:?)?\d{0,4}", words, re.IGNORECASE)
    ):
        return None
    return Path(words).expanduser()


def taken_at(path: Path) -> datetime | None:
    """When the light of a recording or video was taken, by its own word; None where it doesn't say.

    Raises DawnbeatError when the word can't be understood, or the file can't be read.
    """
    refuse_intervals(path)
    from dawnbeat.capture.video import creation_time

    began = about_beside(path).get("began")
    if began is not None:
        return _moment(began, path)
    if path.is_file() and is_video(path):
        with plain_errors("read the video", path):
            said = creation_time(path)
        # A container without the place's own offset says UTC.
        return said.astimezone() if said is not None and said.tzinfo is UTC else said
    return None


def _moment(text: object, path: Path) -> datetime:
    try:
        moment = datetime.fromisoformat(str(text))
        moment = moment if moment.utcoffset() is not None else moment.astimezone()
    except (ValueError, OverflowError, OSError):
        raise DawnbeatError(
            f"{one_line(path)}: {ABOUT} says that it began {one_line(text)!r}, which is no time: say when with "
            "--taken, or mend it"
        ) from None
    try:
        return past_moment(moment)
    except DawnbeatError as error:
        raise DawnbeatError(f"{one_line(path)}: by its {ABOUT} it began when it can't have: {error}") from None


def refuse_intervals(path: Path) -> None:
    """Raise DawnbeatError, with what to do, where a text file holds beat intervals instead of light."""
    from dawnbeat.morning.strap import load_intervals

    if not path.is_file() or path.suffix.lower() not in (".txt", ".csv"):
        return
    try:
        load_intervals(path)
    except DawnbeatError:
        return  # something else: whoever reads it will say what
    raise DawnbeatError(
        f"{one_line(path)} holds beat intervals, not light: "
        f'`dawnbeat import intervals {one_line(path)} --taken "2026-11-24 06:40"` makes a reading of them'
    )


def _open_path(words: str) -> FrameSource:
    from dawnbeat.shared.installed import is_shipped

    path = Path(words).expanduser()
    if not words or not path.exists():
        raise DawnbeatError(f"there is no source {words!r}: give {HELP}")
    if path.is_dir() and not (path / TRACE).exists() and (path / VIDEO).exists():
        path = path / VIDEO
    refuse_intervals(path)
    if is_video(path):
        from dawnbeat.capture.video import VideoFileSource

        invented = is_shipped(path) or about_beside(path).get("invented") is True
        return VideoFileSource(path, times_beside(path), invented)
    from dawnbeat.capture.recording import RecordedTraceSource

    inside = path.name == TRACE and path.with_name(ABOUT).exists()
    return RecordedTraceSource(read_recording(path.parent if inside else path))


def recordings_in(paths: Iterable[Path]) -> list[Path]:
    """The recordings that were meant: files as they are, a recording folder as itself, else all that lie below.

    Below a folder, CSV files without the three colours (such as reference beats) and hidden files are passed over.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(_below(path, _DEEPEST)))
        elif path.name in (TRACE, VIDEO) and (path.parent / ABOUT).exists():
            found[path.parent] = None  # the file inside means its folder, whose about and beats are wanted too
        else:
            found[path] = None
    return list(found)


def read_with_reference(path: Path) -> Recording:
    """A recording, with reference beats from `name.beats.csv` beside a bare file where there is one.

    Raises DawnbeatError as `read_recording` does.
    """
    recording = read_recording(path)
    beside = path.with_name(f"{path.name.split('.')[0]}.beats.csv")
    if recording.beats_s is None and path.is_file() and beside != path and beside.is_file():
        recording = dataclasses.replace(recording, beats_s=read_times_csv(beside))
    return recording


def _below(folder: Path, levels: int) -> Iterator[Path]:
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        return
    names = {entry.name for entry in entries}
    if names & {TRACE, VIDEO}:
        yield folder
        return
    for entry in entries:
        if entry.name.startswith("."):
            continue
        if entry.is_dir():
            if levels > 1 and not entry.is_symlink():
                yield from _below(entry, levels - 1)
        elif is_video(entry) or _holds_colours(entry):
            yield entry


def _holds_colours(path: Path) -> bool:
    name = path.name.lower()
    if name == BEATS or not name.endswith((".csv", ".csv.gz")):
        return False
    if name.endswith(".gz") or not path.is_file():
        return True  # only reading it all would tell
    try:
        with path.open("rb") as file:
            header = file.readline(4096).decode("utf-8-sig", "replace")
    except OSError:
        return True  # the reader will say what is wrong with it
    return {name.strip().strip('"').lower() for name in header.split(",")} >= _COLOURS
