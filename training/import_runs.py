"""Brings run files into the journal: parsed in other processes, kept here, each run whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from dataclasses import replace as replace_values
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Literal

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.processes import Processes
from dawnbeat.training.load_run import SUFFIXES, PreparedRun, RunFile, assumed, is_run_name, members_of, prepare
from dawnbeat.training.run import Sport
from dawnbeat.training.run_store import keep

WORKERS = 2
# Starting two processes costs more than reading a few files.
FEW_FILES = 6

Became = Literal["added", "here already", "in the bin", "replaced", "not taken"]


@dataclass(frozen=True)
class FileOutcome:
    """What became of one run of a file, or of a file that holds none.

    name: of the file, with its folders. run_id: the run that holds it, or None. message: why it was not taken, else
    what is odd about it. richer: it tells more than the run that was here already, and could replace it. sport_unsaid:
    it was added, and its file doesn't say what sport it is.
    """

    name: str
    became: Became
    run_id: int | None
    message: str
    richer: bool = False
    sport: Sport = "running"
    counts: bool = True

    @property
    def sport_unsaid(self) -> bool:
        """Whether the runner should be asked what sport it is."""
        return self.became == "added" and self.sport == "not said"


@dataclass(frozen=True)
class ImportResult:
    """What became of all files, in order; files after a cancel are not listed."""

    outcomes: tuple[FileOutcome, ...]
    files: int
    files_done: int
    cancelled: bool

    def count(self, became: Became) -> int:
        """How many became this."""
        return sum(each.became == became for each in self.outcomes)

    @property
    def unsaid_ids(self) -> list[int]:
        """The runs whose files don't say their sport and whose speed is that of a runner or walker."""
        return [each.run_id for each in self.outcomes if each.sport_unsaid and each.run_id is not None]

    def now_running(self, run_ids: Sequence[int]) -> ImportResult:
        """The result after the runner said that these are runs."""
        outcomes = (
            replace_values(each, sport="running", counts=True) if each.run_id in run_ids else each
            for each in self.outcomes
        )
        return replace_values(self, outcomes=tuple(outcomes))

    @property
    def richer(self) -> int:
        """How many files tell more than the run that was here already."""
        return sum(each.richer for each in self.outcomes)

    def lines(self) -> list[str]:
        """The result in words, one statement a line; files not taken each with their reason."""
        here, binned, replaced = (self.count(each) for each in ("here already", "in the bin", "replaced"))
        said = [f"{self.count('added')} added, {here} here already, {self.count('not taken')} not taken"]
        if replaced:
            said.append(f"{replaced} took the place of a run that told less")
        if binned:
            said.append(f"{binned} in the bin, which stay there: take them out with `dawnbeat runs bin --back NUMBER`")
        said += [each.message for each in self.outcomes if each.became == "not taken"]
        said += [
            f"{one_line(each.name)}: longer than run {each.run_id} of the same time, or tells more: import it again "
            "with --replace to take it instead"
            for each in self.outcomes
            if each.richer
        ]
        said += [
            f"{one_line(each.name)}: {each.message}"
            for each in self.outcomes
            if each.became in ("added", "replaced") and each.message
        ]
        other = sum(each.became == "added" and not each.counts and not each.sport_unsaid for each in self.outcomes)
        if other:
            said.append(f"{other} added that do not count as runs, by their sport or speed")
        if self.unsaid_ids:
            said.append(
                f"{len(self.unsaid_ids)} added whose files don't say the sport: they do not count as runs until you "
                "say that they are"
            )
        if self.cancelled:
            said.append(f"stopped after {self.files_done} of {self.files} files; what was added stays")
        return said


Progress = Callable[[int, int, FileOutcome], None]


def find_files(paths: Sequence[Path]) -> list[RunFile]:
    """The files named, the run files in folders named and below, hidden ones left out, and those in zip files.

    Raises DawnbeatError when a path does not exist or there is nothing to read.
    """
    found: list[RunFile] = []
    for path in paths:
        if path.is_dir():
            for folder, folders, names in os.walk(path):
                folders[:] = sorted(each for each in folders if not each.startswith("."))
                for name in sorted(names):
                    if is_run_name(name):
                        found.append(RunFile(Path(folder, name)))
                    elif name.lower().endswith(".zip") and not name.startswith("."):
                        found += members_of(Path(folder, name))
        elif path.is_file() and (members := members_of(path)):
            found += members
        elif path.exists():
            found.append(RunFile(path))
        else:
            raise DawnbeatError(f"{one_line(path)} does not exist: check the name")
    if not found:
        raise DawnbeatError(f"there is no run file here: name files or a folder with {', '.join(SUFFIXES)} in it")
    return list(dict.fromkeys(found))


def import_runs(
    journal: Journal,
    paths: Sequence[Path],
    began: datetime | None = None,
    sport: Sport | None = None,
    replace: bool = False,
    progress: Progress = lambda done, of, outcome: None,
    cancelled: Callable[[], bool] = lambda: False,
    workers: int = WORKERS,
) -> ImportResult:
    """Import files, folders and zip files. progress: called after each file, in the thread of the call.

    began: start of a CSV that counts from 0. sport: of files that don't say theirs. replace: a file that tells more
    than the run of its time takes that run's place. cancelled: asked between files; what was added by then stays.
    Each run is one short transaction, so that the journal stays usable. A file that can't be read becomes an
    outcome; DawnbeatError is raised only when nothing can be read at all or the journal can't be written.
    """
    files = find_files(paths)
    if began is not None and len(files) != 1:
        raise DawnbeatError("a beginning was given for several files: import that file alone")
    outcomes: list[FileOutcome] = []
    done = 0
    pieces = _prepared(files, began, workers)
    try:
        for file, prepared in zip(files, pieces, strict=False):
            if isinstance(prepared, str):
                outcomes.append(FileOutcome(str(file), "not taken", None, prepared))
            else:
                outcomes += [_kept(journal, file, run, sport, replace) for run in prepared]
            done += 1
            progress(done, len(files), outcomes[-1])
            if done < len(files) and cancelled():
                return ImportResult(tuple(outcomes), len(files), done, cancelled=True)
    finally:
        pieces.close()
    return ImportResult(tuple(outcomes), len(files), done, cancelled=False)


def _kept(journal: Journal, file: RunFile, run: PreparedRun, sport: Sport | None, replace: bool) -> FileOutcome:
    if sport is not None:
        run = assumed(run, sport)
    kept = keep(journal, run, replace)
    became: Became = "added" if kept.new else "here already"
    if kept.in_bin:
        became = "in the bin"
    elif kept.replaced:
        became = "replaced"
    notes = "; ".join(note.words for note in run.notes)
    return FileOutcome(str(file), became, kept.run_id, notes, kept.richer, run.sport, run.counts)


def _prepared(
    files: Sequence[RunFile], began: datetime | None, workers: int
) -> Generator[list[PreparedRun] | str, None, None]:
    """Each file in order, read ahead by a few only, or what is wrong with it."""
    if len(files) <= FEW_FILES or workers < 2:
        for file in files:
            yield _prepare(file, began)
        return
    work = Processes(
        partial(_prepare, began=began),
        workers,
        "the reading of the files",
        "what was added stays; import the rest again",
    )
    yield from work.in_order(files)


def _prepare(file: RunFile, began: datetime | None) -> list[PreparedRun] | str:
    try:
        return prepare(file, began)
    except DawnbeatError as error:
        return str(error)
    except MemoryError:
        return f"{file}: there is not enough memory to read it: close other programs and try again"
    # One file, whatever is wrong with it, never ends the import of the others.
    except Exception as error:
        return f"{file}: it can't be read ({type(error).__name__} {one_line(error)[:80]}): export it again"
