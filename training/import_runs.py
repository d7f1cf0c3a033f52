"""Brings run files into the journal: parsed and cleaned in other processes, kept here, each run whole or not at all."""

from __future__ import annotations

import dataclasses
import gzip
import hashlib
import io
import os
import zipfile
import zlib
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Literal

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import refuse_special
from dawnbeat.shared.processes import Processes
from dawnbeat.training.device_files import checked_text, parse_fit, parse_gpx, parse_tcx
from dawnbeat.training.run import (
    FASTEST_OVER_M,
    FASTEST_RUN_M_PER_S,
    ParsedRun,
    PreparedRun,
    RunNote,
    Sport,
    blob_of,
    samples_of,
)
from dawnbeat.training.run_figures import figures_of, marks_of
from dawnbeat.training.run_rows import parse_csv
from dawnbeat.training.run_store import keep

MAX_BYTES = 64 * 2**20
SUFFIXES = (".fit", ".tcx", ".gpx", ".csv")
_GZIP = b"\x1f\x8b"


@dataclass(frozen=True)
class RunFile:
    """A file to load, or a member of a zip file. Its name is what the runner sees."""

    path: Path
    member: str = ""

    @property
    def name(self) -> str:
        """The file's own name, without its folders."""
        return self.member.rsplit("/", 1)[-1] or self.path.name

    def __str__(self) -> str:
        return one_line(f"{self.path}: {self.member}" if self.member else self.path)


def prepare(file: RunFile | Path, began: datetime | None = None, max_bytes: int = MAX_BYTES) -> list[PreparedRun]:
    """Parse, clean and pack the runs of one file, most hold one. began: see run_rows.parse_csv.

    Raises DawnbeatError, naming the file, when it is too large, empty, damaged through and through, or no run.
    """
    file = file if isinstance(file, RunFile) else RunFile(file)
    data = _bytes(file, max_bytes)
    try:
        runs = parse(data, file.name, began)
        sha256 = hashlib.sha256(data).hexdigest()
        found = []
        for number, run in enumerate(runs):
            # One run keeps the checksum of its file; several have one each.
            own = sha256 if len(runs) == 1 else hashlib.sha256(f"{sha256} {number}".encode()).hexdigest()
            prepared = prepared_of(run, file.name, own)
            if prepared.figures.duration_s > 0:
                found.append(prepared)
        if not found:
            raise DawnbeatError("it lasts no time: export the run again with its recording")
    except DawnbeatError as error:
        raise DawnbeatError(f"{file}: {error}") from error
    return found


def prepared_of(run: ParsedRun, name: str, sha256: str) -> PreparedRun:
    """A parsed run, cleaned and packed."""
    blob = blob_of(run.samples)
    # Worked out from what is kept, so that working it out again later gives the same.
    samples = samples_of(blob)
    marks = marks_of(samples)
    figures = figures_of(samples, marks)
    notes = run.notes
    counts = run.sport == "running"
    way_m = figures.distance_m or 0.0
    if run.sport in ("running", "not said") and way_m > max(FASTEST_OVER_M, FASTEST_RUN_M_PER_S * figures.duration_s):
        notes = (*notes, RunNote("too fast", way_m / max(figures.duration_s, 1.0)))
        counts = False
    return PreparedRun(name, run.began, run.format, run.sport, counts, notes, sha256, blob, marks, figures)


def assumed(run: PreparedRun, sport: Sport) -> PreparedRun:
    """The run with the sport that the runner names for files that don't say theirs."""
    if run.sport != "not said":
        return run
    too_fast = any(note.code == "too fast" for note in run.notes)
    return dataclasses.replace(run, sport=sport, counts=sport == "running" and not too_fast)


def parse(data: bytes, name: str, began: datetime | None = None) -> list[ParsedRun]:
    """The runs of a file's content, by what it looks like and, for CSV, by its name."""
    if not data.strip():
        raise DawnbeatError("it is empty: export the run again")
    head = data[:4096].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").replace(b"\0", b"")
    try:
        if data[8:12] == b".FIT":
            return parse_fit(data)
        if head.startswith(b"<"):
            if b"TrainingCenterDatabase" in head:
                return parse_tcx(data)
            if b"<gpx" in head or b":gpx" in head:
                return parse_gpx(data)
            checked_text(data)
            raise DawnbeatError(
                "this XML file is neither TCX nor GPX: export the run in one of these, or as FIT or CSV"
            )
    except (DawnbeatError, MemoryError):
        raise
    # Whatever a library meets in a damaged file stays with that file.
    except Exception as error:
        raise DawnbeatError(
            f"its reader broke on it ({type(error).__name__} {one_line(error)[:80]}): export the run again"
        ) from error
    suffix = Path(name.lower().removesuffix(".gz")).suffix
    if suffix in (".csv", ".txt"):
        return [parse_csv(data, began)]
    if suffix in SUFFIXES:
        raise DawnbeatError(f"it is no {suffix[1:].upper()} file though its name says so: export it again")
    raise DawnbeatError("this is no run file: name a FIT, TCX, GPX or CSV file, or a zip of them")


def is_run_name(name: str) -> bool:
    """Whether a file of this name is looked into where a folder or a zip file is named."""
    own = name.rsplit("/", 1)[-1]
    return not own.startswith(".") and own.lower().removesuffix(".gz").endswith(SUFFIXES)


def members_of(path: Path) -> Sequence[RunFile]:
    """The run files in a zip file; none where it is no zip file."""
    if not zipfile.is_zipfile(path):
        return []
    with plain_errors("read the zip file", path), zipfile.ZipFile(path) as packed:
        names = [each.filename for each in packed.infolist() if not each.is_dir()]
    return [RunFile(path, name) for name in sorted(names) if is_run_name(name) and "__MACOSX" not in name]


def _bytes(file: RunFile, max_bytes: int) -> bytes:
    with plain_errors("read the run", file.path):
        if file.path.is_dir():
            raise DawnbeatError(f"{file} is a folder: name a file")
        refuse_special(file.path)
        if file.member:
            data = _unzipped(file, max_bytes + 1)
        else:
            with file.path.open("rb") as plain:
                data = plain.read(max_bytes + 1)
        if len(data) <= max_bytes and data[:2] == _GZIP:
            data = _unpacked(file, data, max_bytes + 1)
    if len(data) > max_bytes:
        raise DawnbeatError(
            f"{file} is over {max_bytes / 2**20:g} MB, more than any run: it was not read; export the run alone"
        )
    return data


def _unzipped(file: RunFile, most_bytes: int) -> bytes:
    try:
        with zipfile.ZipFile(file.path) as packed, packed.open(file.member) as member:
            return member.read(most_bytes)
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError) as error:
        raise DawnbeatError(f"{file} is damaged or packed in a way that can't be read: unpack it first") from error
    except RuntimeError as error:
        raise DawnbeatError(f"{file} is locked with a password: unpack it first") from error


def _unpacked(file: RunFile, data: bytes, most_bytes: int) -> bytes:
    try:
        with gzip.open(io.BytesIO(data)) as packed:
            return packed.read(most_bytes)
    except (OSError, EOFError, zlib.error) as error:
        raise DawnbeatError(f"{file} is a damaged gzip file: copy it again") from error


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
            dataclasses.replace(each, sport="running", counts=True) if each.run_id in run_ids else each
            for each in self.outcomes
        )
        return dataclasses.replace(self, outcomes=tuple(outcomes))

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
