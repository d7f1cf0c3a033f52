"""One run file, whatever its format: parsed, cleaned and made ready to be kept, or refused with one line."""

from __future__ import annotations

import gzip
import hashlib
import stat
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.training.cleaning import marks_of
from dawnbeat.training.run import (
    FASTEST_OVER_M,
    FASTEST_RUN_M_PER_S,
    Mark,
    ParsedRun,
    RunFigures,
    RunNote,
    Sport,
    blob_of,
    samples_of,
)
from dawnbeat.training.run_figures import figures_of

MAX_BYTES = 64 * 2**20
SUFFIXES = (".fit", ".tcx", ".gpx", ".csv")


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


@dataclass(frozen=True)
class PreparedRun:
    """All that the journal keeps of a run, worked out without the journal.

    name: of its file. blob: the samples, packed. counts: whether it is running, as far as the file tells.
    """

    name: str
    began: datetime
    format: str
    sport: Sport
    counts: bool
    notes: tuple[RunNote, ...]
    sha256: str
    blob: bytes
    marks: tuple[Mark, ...]
    figures: RunFigures


def prepare(file: RunFile | Path, began: datetime | None = None, max_bytes: int = MAX_BYTES) -> list[PreparedRun]:
    """Parse, clean and pack the runs of one file, most hold one. began: see parse_csv.

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
    return replace(run, sport=sport, counts=sport == "running" and not too_fast)


def parse(data: bytes, name: str, began: datetime | None = None) -> list[ParsedRun]:
    """The runs of a file's content, by what it looks like and, for CSV, by its name."""
    # The readers' libraries take a while to import, and a CSV needs none of them.
    if not data.strip():
        raise DawnbeatError("it is empty: export the run again")
    head = data[:4096].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").replace(b"\0", b"")
    try:
        if data[8:12] == b".FIT":
            from dawnbeat.training.parse_fit import parse_fit

            return parse_fit(data)
        if head.startswith(b"<"):
            from dawnbeat.training.parse_xml import checked_text, parse_gpx, parse_tcx

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
        from dawnbeat.training.parse_csv import parse_csv

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
        found = file.path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise DawnbeatError(f"{file} is a folder: name a file")
        # A pipe or device may never end, or wait for ever.
        if not stat.S_ISREG(found.st_mode):
            raise DawnbeatError(f"{file} is a pipe or device and no file: save the run to a file first")
        if file.member:
            return _unzipped(file, max_bytes)
        if found.st_size > max_bytes:
            raise _too_large(file, max_bytes)
        data = file.path.read_bytes()
    return _unpacked(file, data, max_bytes)


def _unzipped(file: RunFile, max_bytes: int) -> bytes:
    try:
        with zipfile.ZipFile(file.path) as packed, packed.open(file.member) as member:
            data = member.read(max_bytes + 1)
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError) as error:
        raise DawnbeatError(f"{file} is damaged or packed in a way that can't be read: unpack it first") from error
    except RuntimeError as error:
        raise DawnbeatError(f"{file} is locked with a password: unpack it first") from error
    if len(data) > max_bytes:
        raise _too_large(file, max_bytes)
    return _unpacked(file, data, max_bytes)


def _unpacked(file: RunFile, data: bytes, max_bytes: int) -> bytes:
    if data[:2] != b"\x1f\x8b":
        return data
    unpacker = zlib.decompressobj(wbits=zlib.MAX_WBITS | 16)
    try:
        plain = unpacker.decompress(data, max_bytes + 1)
        if len(plain) <= max_bytes and not unpacker.eof:
            raise EOFError
        if unpacker.unused_data.startswith(b"\x1f\x8b"):
            plain = gzip.decompress(data)
    except (OSError, EOFError, zlib.error) as error:
        raise DawnbeatError(f"{file} is a damaged gzip file: copy it again") from error
    if len(plain) > max_bytes:
        raise _too_large(file, max_bytes)
    return plain


def _too_large(file: RunFile, max_bytes: int) -> DawnbeatError:
    return DawnbeatError(
        f"{file} is over {max_bytes / 2**20:g} MB, more than any run: it was not read; export the run alone"
    )
