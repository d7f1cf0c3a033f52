"""From a trace to a saved reading, off the window's thread."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dawnbeat.journal.recordings_kept import PART, relative_to_home, remove
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import POSTURES, Circumstances, Posture, StoredReading, posture_from
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.settings import Settings

if TYPE_CHECKING:
    from dawnbeat.journal.ranges import RangeSettings
    from dawnbeat.journal.today import Today
    from dawnbeat.shared.trace import Trace

# A recording that was written to so recently may belong to a program that is still running.
_STILL_WRITTEN_S = 5.0


@dataclass(frozen=True)
class Kept:
    """An analysed reading and whether it could be saved.

    stored, today: None where it was not saved. folder: its recording, None where none was made. trouble: why
    it could not be saved, one line, else empty. notice: something to know although it was saved, or empty.
    """

    analysis: Analysis
    taken: Circumstances
    stored: StoredReading | None = None
    today: Today | None = None
    folder: Path | None = None
    trouble: str = ""
    notice: str = ""


def analysed(trace: Trace, taken: Circumstances, settings: Settings, folder: Path | None = None) -> Kept:
    """Analyse a trace; nothing is saved yet."""
    from dawnbeat.signal.analysis import analyse

    return Kept(analyse(trace, settings), taken, folder=folder)


def saved(kept: Kept, home: Path, ranges: RangeSettings) -> Kept:
    """Save an analysed reading with its recording; a refusal is told in `trouble`, and the recording stays."""
    from dawnbeat.journal.today import today_of

    try:
        with Journal.open(home) as journal:
            notice = journal.clock_notice(kept.taken.began) or ""
            stored = journal.save(kept.taken, kept.analysis, kept.folder)
            kept = replace(kept, stored=stored, trouble="", notice=notice)
            return replace(kept, today=today_of(journal, stored.local_date, ranges))
    except DawnbeatError as error:
        return replace(kept, trouble=str(error)) if kept.stored is None else replace(kept, notice=str(error))


@dataclass(frozen=True)
class Interrupted:
    """A recording that no reading speaks of.

    began: from its own description, else from its folder's name, else when it was last written. length_s: of
    its trace; 0 where nothing can be read of it. why: what is wrong with it, empty where it can be kept.
    """

    path: Path
    began: datetime
    length_s: float
    posture: Posture
    camera: str
    why: str = ""


def interrupted_readings(home: Path) -> list[Interrupted]:
    """The recordings in the journal's folder that were never saved and that nobody is writing now."""
    with Journal.open(home) as journal:
        orphans = journal.orphans()
    return [_described(each.path) for each in orphans if _newest_change_s(each.path) > _STILL_WRITTEN_S]


def keep_interrupted(found: Interrupted, home: Path, settings: Settings, ranges: RangeSettings) -> Kept:
    """Analyse an interrupted reading and save it; raises DawnbeatError where it can't be read or saved."""
    from dawnbeat.capture.recording import read_recording

    taken = Circumstances(found.began, found.posture, found.camera)
    kept = saved(analysed(read_recording(found.path).trace, taken, settings, found.path), home, ranges)
    if kept.trouble:
        raise DawnbeatError(kept.trouble)
    return kept


def discard_interrupted(found: Interrupted, home: Path) -> None:
    """Delete an interrupted reading for good; raises DawnbeatError where the disk refuses. Ask before."""
    from dawnbeat.shared.errors import plain_errors

    with plain_errors("delete the interrupted reading", found.path):
        relative = relative_to_home(home, found.path)
        if relative is not None:
            remove(home, relative)


def _described(path: Path) -> Interrupted:
    from dawnbeat.capture.recording import read_recording

    about: Mapping[str, Any] = {}
    length_s, why = 0.0, ""
    try:
        about = json.loads((path / "about.json").read_text(encoding="utf-8"))
        assert isinstance(about, dict)
    except (OSError, ValueError, AssertionError, RecursionError):
        about = {}
    try:
        length_s = read_recording(path).trace.duration_s
    except DawnbeatError as error:
        why = str(error)
    if path.suffix == PART:
        why = "it is a copy that was cut short; what it was copied from lies where it was"
    elif not why and length_s <= 0:
        why = "nothing had been captured yet"
    posture = about.get("posture")
    return Interrupted(
        path,
        _began(path, about),
        length_s,
        posture_from(posture) if posture in POSTURES else POSTURES[0],
        str(about.get("camera") or "unknown camera"),
        why,
    )


def _began(path: Path, about: Mapping[str, Any]) -> datetime:
    for text, form in ((str(about.get("began")), None), (f"{path.parent.name} {path.name[:8]}", "%Y-%m-%d %H-%M-%S")):
        try:
            return (datetime.fromisoformat(text) if form is None else datetime.strptime(text, form)).astimezone()
        except ValueError:
            continue
    return datetime.fromtimestamp(path.stat().st_mtime).astimezone()


def _newest_change_s(path: Path) -> float:
    """Seconds since anything in a folder changed."""
    changes = [each.stat().st_mtime for each in (path, *path.iterdir())]
    return time.time() - max(changes)
