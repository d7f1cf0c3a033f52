"""Brings run files into the journal: read in other processes, kept here, each file whole or not at all."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.training.load_run import SUFFIXES, PreparedRun, prepare
from dawnbeat.training.run_store import keep

WORKERS = 2
# Starting two processes costs more than reading a few files.
FEW_FILES = 6

Became = Literal["added", "here already", "in the bin", "not taken"]


@dataclass(frozen=True)
class FileOutcome:
    """What became of one file. run_id: the run that holds it, or None. message: why it was not taken, else notes."""

    path: Path
    became: Became
    run_id: int | None
    message: str


@dataclass(frozen=True)
class ImportResult:
    """What became of all files, in order; files after a cancel are not listed."""

    outcomes: tuple[FileOutcome, ...]
    files: int
    cancelled: bool

    def count(self, became: Became) -> int:
        """How many files became this."""
        return sum(each.became == became for each in self.outcomes)

    def lines(self) -> list[str]:
        """The result in words, one statement a line; files not taken each with their reason."""
        added, here, binned = (self.count(each) for each in ("added", "here already", "in the bin"))
        said = [f"{added} added, {here} here already, {self.count('not taken')} not taken"]
        if binned:
            said.append(f"{binned} in the bin, which stay there: take them out with `dawnbeat runs bin --back NUMBER`")
        said += [each.message for each in self.outcomes if each.became == "not taken"]
        said += [
            f"{one_line(each.path.name)}: {each.message}"
            for each in self.outcomes
            if each.became == "added" and each.message
        ]
        if self.cancelled:
            said.append(f"stopped after {len(self.outcomes)} of {self.files} files; what was added stays")
        return said


Progress = Callable[[int, int, FileOutcome], None]


def find_files(paths: Sequence[Path]) -> list[Path]:
    """The files named, and the run files in folders named and below, hidden ones left out.

    Raises DawnbeatError when a path does not exist or there is nothing to read.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            for folder, folders, names in os.walk(path):
                folders[:] = sorted(each for each in folders if not each.startswith("."))
                found += [Path(folder, name) for name in sorted(names) if _is_run_file(name)]
        elif path.exists():
            found.append(path)
        else:
            raise DawnbeatError(f"{one_line(path)} does not exist: check the name")
    if not found:
        raise DawnbeatError(f"there is no run file here: name files or a folder with {', '.join(SUFFIXES)} in it")
    return list(dict.fromkeys(found))


def import_runs(
    journal: Journal,
    paths: Sequence[Path],
    began: datetime | None = None,
    any_sport: bool = False,
    progress: Progress = lambda done, of, outcome: None,
    cancelled: Callable[[], bool] = lambda: False,
    workers: int = WORKERS,
) -> ImportResult:
    """Import files and folders. progress: called after each file, in the thread of the call.

    cancelled: asked between files; what was added by then stays. began: start of a CSV that counts from 0.
    Each file is one short transaction, so that the journal stays usable. A file that can't be read becomes an
    outcome; DawnbeatError is raised only when nothing can be read at all or the journal can't be written.
    """
    files = find_files(paths)
    if began is not None and len(files) != 1:
        raise DawnbeatError("a beginning was given for several files: import that file alone")
    outcomes: list[FileOutcome] = []
    pieces = _prepared(files, began, any_sport, workers)
    try:
        for path, prepared in zip(files, pieces, strict=False):
            outcomes.append(_kept(journal, path, prepared))
            progress(len(outcomes), len(files), outcomes[-1])
            if len(outcomes) < len(files) and cancelled():
                return ImportResult(tuple(outcomes), len(files), cancelled=True)
    finally:
        pieces.close()
    return ImportResult(tuple(outcomes), len(files), cancelled=False)


def _is_run_file(name: str) -> bool:
    return not name.startswith(".") and name.lower().removesuffix(".gz").endswith(SUFFIXES)


def _kept(journal: Journal, path: Path, prepared: PreparedRun | str) -> FileOutcome:
    if isinstance(prepared, str):
        return FileOutcome(path, "not taken", None, prepared)
    kept = keep(journal, prepared)
    became: Became = "added" if kept.new else "in the bin" if kept.in_bin else "here already"
    return FileOutcome(path, became, kept.run_id, "; ".join(prepared.notes))


def _prepared(
    files: Sequence[Path], began: datetime | None, any_sport: bool, workers: int
) -> Generator[PreparedRun | str, None, None]:
    """Each file in order, read ahead by a few only, or what is wrong with it."""
    if len(files) <= FEW_FILES or workers < 2:
        for path in files:
            yield _prepare(path, began, any_sport)
        return
    # "spawn", because a forked child of a process with threads, such as the window's, may hang.
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), initializer=_ignore_interrupts)
    waiting: deque[Future[PreparedRun | str]] = deque()
    try:
        coming = iter(files)
        while True:
            while len(waiting) < 4 * workers and (ahead := next(coming, None)) is not None:
                waiting.append(pool.submit(_prepare, ahead, began, any_sport))
            if not waiting:
                return
            yield waiting.popleft().result()
    except BrokenProcessPool as error:
        raise DawnbeatError(
            "a process that reads the files ended by itself, as for want of memory: what was added "
            "stays; import the rest again"
        ) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _prepare(path: Path, began: datetime | None, any_sport: bool) -> PreparedRun | str:
    try:
        return prepare(path, began, any_sport)
    except DawnbeatError as error:
        return str(error)
    except MemoryError:
        return f"{one_line(path)}: there is not enough memory to read it: close other programs and try again"


def _ignore_interrupts() -> None:
    # Ctrl-C reaches the whole group; the main process alone decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
