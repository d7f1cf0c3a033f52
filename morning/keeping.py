"""From what was taken to a reading of the journal; what was broken off; what is discarded."""

from __future__ import annotations

import dataclasses
import os
import shutil
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dawnbeat.capture.recorder import FolderLock, is_being_taken
from dawnbeat.journal.folder import HOME_VARIABLE, PART, expanded, relative_to_home, remove_recording
from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import chosen_home
from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.morning import POSTURES, Circumstances, Context, Posture, StoredReading, posture_from
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.wording import past_moment

if TYPE_CHECKING:
    from dawnbeat.journal.ranges import RangeSettings
    from dawnbeat.morning.answering import Grounds
    from dawnbeat.morning.taking import Order, Taken
    from dawnbeat.shared.trace import Trace

# A recording that was written to so recently may belong to a program that is still running.
_STILL_WRITTEN_S = 5.0
_SAME_LENGTH_S = 0.001
INVENTED = (
    "the light is invented, and your own journal holds only your own mornings: name another journal with --journal to "
    "save it there"
)


@dataclass(frozen=True)
class Kept:
    """An analysed reading and whether it could be saved.

    stored, grounds: None where it was not saved; the day's answer is drawn from the grounds. folder: its recording,
    None where none was made. trouble: why it could not be saved, one line, else empty. notice: something to know
    although it was saved, or empty. known: the journal had this very reading already, and nothing was added.
    """

    analysis: Analysis
    taken: Circumstances
    stored: StoredReading | None = None
    grounds: Grounds | None = None
    folder: Path | None = None
    trouble: str = ""
    notice: str = ""
    known: bool = False


def analysed(trace: Trace, taken: Circumstances, settings: Settings, folder: Path | None = None) -> Kept:
    """Analyse a trace; nothing is saved yet."""
    from dawnbeat.signal.analysis import analyse

    return Kept(analyse(trace, settings), taken, folder=folder)


def saved(kept: Kept, home: Path, ranges: RangeSettings) -> Kept:
    """Save an analysed reading with its recording; a refusal is told in `trouble`, and the recording stays.

    The same light or intervals, read a second time, are the reading that they became: that one stays as it is.
    """
    from dawnbeat.morning.answering import grounds, keep_answer

    try:
        with Journal.open(home) as journal:
            if (here := _here_already(journal, kept)) is not None:
                notice = f"It is in the journal already, as reading {here.id}: nothing was added."
                drawn_from = grounds(journal, here.local_date, ranges)
                return replace(kept, stored=here, grounds=drawn_from, notice=notice, known=True)
            notice = journal.clock_notice(kept.taken.began) or ""
            stored = journal.save(kept.taken, kept.analysis, kept.folder)
            kept = replace(kept, stored=stored, trouble="", notice=notice)
            drawn_from = grounds(journal, stored.local_date, ranges)
            return replace(kept, stored=keep_answer(journal, stored, drawn_from), grounds=drawn_from)
    except DawnbeatError as error:
        return replace(kept, trouble=str(error)) if kept.stored is None else replace(kept, notice=str(error))


def _here_already(journal: Journal, kept: Kept) -> StoredReading | None:
    """The reading that began at this moment, is as long to the millisecond and has the same frames, if there is one.

    One without intervals, as from a CSV file, knows less than what was measured and is no such reading.
    """
    taken, analysis = kept.taken, kept.analysis
    for each in journal.day(taken.began.date()):
        if (
            (each.began, each.origin, each.frame_rate_hz) == (taken.began, taken.origin, analysis.frame_rate_hz)
            and abs(each.duration_s - analysis.duration_s) < _SAME_LENGTH_S
            and len(journal.intervals(each.id)) == len(analysis.intervals)
        ):
            return each
    return None


def keep_taken(taken: Taken, order: Order, home: Path | None, ranges: RangeSettings) -> Kept:
    """Analyse what was taken and save it in the journal in `home`; None only analyses, and so does invented light.

    Raises DawnbeatError where it can't be analysed at all; its recording stays, and is offered as broken off.
    """
    try:
        kept = analysed(taken.trace, taken.circumstances, order.settings, taken.folder)
        if home is None or (taken.invented and not order.keep_invented):
            return kept
        kept = saved(kept, home, ranges)
        if kept.known and taken.folder is not None:
            taken.let_go()
            shutil.rmtree(taken.folder, ignore_errors=True)  # the copy just made; the reading has its own
        return kept
    finally:
        taken.let_go()


def check_can_keep(home: Path) -> None:
    """Raise DawnbeatError where a reading could not be kept: two minutes are too precious to find that at their end."""
    with Journal.open(home) as journal:
        if journal.read_only:
            raise DawnbeatError(
                f"the journal in {one_line(home)} can only be read ({journal.read_only}): name one that can be written "
                "to, or measure without saving"
            )


def folders_in(home: Path) -> Callable[[datetime], Path]:
    """A function that makes the folder of a new recording in the journal, by when it began."""

    def new_folder(began: datetime) -> Path:
        with Journal.open(home) as journal:
            return journal.new_recording_folder(began)

    return new_folder


def refuse_invented(asked: Path | None) -> None:
    """Raise DawnbeatError unless a journal was named that is not the runner's own, to keep invented light in."""
    if asked is None:
        raise DawnbeatError(INVENTED)
    own = {chosen_home(None).resolve()}
    if named := os.environ.get(HOME_VARIABLE):
        own.add(expanded(named).resolve())
    if expanded(asked).resolve() in own:
        raise DawnbeatError(INVENTED)


@dataclass(frozen=True)
class BrokenOff:
    """A recording that no reading speaks of.

    began: from its own description, else from its folder's name, else when it was last written. length_s: of
    its trace; 0 where nothing can be read of it. why: what is wrong with it, empty where it can be kept.
    """

    path: Path
    began: datetime
    length_s: float
    posture: Posture
    context: Context
    camera: str
    why: str = ""


def broken_off_readings(home: Path) -> list[BrokenOff]:
    """The recordings in the journal's folder that were never saved and that nobody is writing now."""
    with Journal.open(home) as journal:
        orphans = journal.orphans()
    return [_described(each.path) for each in orphans if not _is_written_now(each.path)]


def keep_broken_off(found: BrokenOff, home: Path, settings: Settings, ranges: RangeSettings) -> Kept:
    """Analyse a broken-off reading and save it; raises DawnbeatError where it can't be read or saved."""
    from dawnbeat.capture.recording import read_recording

    if _is_written_now(found.path):
        raise DawnbeatError(f"{one_line(found.path)} is being taken right now: wait until that reading has ended")
    if found.why:
        raise DawnbeatError(f"{one_line(found.path)} can't be saved: {found.why}")
    taken = Circumstances(found.began, found.posture, found.camera, found.context)
    lock = FolderLock(found.path)  # two programs may be asked to keep the same one
    try:
        kept = saved(analysed(read_recording(found.path).trace, taken, settings, found.path), home, ranges)
    finally:
        lock.release()
    if kept.trouble:
        raise DawnbeatError(kept.trouble)
    return kept


def discard_recording(path: Path, home: Path) -> None:
    """Delete a recording that became no reading, for good. Ask before.

    Raises DawnbeatError, with nothing deleted, where a reading of the journal speaks of it by now (another window may
    have kept it), where it is being taken, and where the disk refuses.
    """
    if _is_written_now(path):
        raise DawnbeatError(f"{one_line(path)} is being taken right now: wait until that reading has ended")
    with Journal.open(home) as journal:
        waiting = {each.path.resolve() for each in journal.orphans()}
    if path.resolve() not in waiting:
        raise DawnbeatError("the recording belongs to a reading of the journal by now: nothing was deleted")
    with plain_errors("delete the recording", path):
        relative = relative_to_home(home, path)
        if relative is not None:
            remove_recording(home, relative)


def _is_written_now(path: Path) -> bool:
    return is_being_taken(path) or _newest_change_s(path) <= _STILL_WRITTEN_S


def _described(path: Path) -> BrokenOff:
    from dawnbeat.capture.recording import about_beside, read_recording

    length_s, why = 0.0, ""
    try:
        about = about_beside(path)
    except DawnbeatError:
        about = {}
    try:
        length_s = read_recording(path).trace.duration_s
    except DawnbeatError as error:
        why = str(error)
    if path.suffix == PART:
        why = "it is a copy that was cut short; what it was copied from lies where it was"
    elif not why and about.get("invented") is True:
        why = "it is invented"
    elif not why and length_s <= 0:
        why = "nothing had been captured yet"
    posture = about.get("posture")
    return BrokenOff(
        path,
        _began(path, about),
        length_s,
        posture_from(posture) if posture in POSTURES else POSTURES[0],
        _context(about.get("context")),
        str(about.get("camera") or "unknown camera"),
        why,
    )


def _context(said: object) -> Context:
    """What the runner had said before the reading; nothing where it can't be understood."""
    if not isinstance(said, dict):
        return Context()
    names = {each.name for each in dataclasses.fields(Context)}
    try:
        return Context(**{name: value for name, value in said.items() if name in names})
    except (DawnbeatError, TypeError):
        return Context()


def _began(path: Path, about: Mapping[str, Any]) -> datetime:
    for text, form in ((str(about.get("began")), None), (f"{path.parent.name} {path.name[:8]}", "%Y-%m-%d %H-%M-%S")):
        try:
            said = datetime.fromisoformat(text) if form is None else datetime.strptime(text, form)
            return past_moment(said.astimezone())
        except (ValueError, OverflowError, DawnbeatError):
            continue
    return datetime.fromtimestamp(path.stat().st_mtime).astimezone()


def _newest_change_s(path: Path) -> float:
    """Seconds since any file in a folder changed."""
    return time.time() - max((each.stat().st_mtime for each in path.iterdir()), default=0.0)
