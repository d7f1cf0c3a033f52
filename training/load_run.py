"""One run file, whatever its format: read, cleaned and made ready to be kept, or refused with one line."""

from __future__ import annotations

import gzip
import hashlib
import zlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.training.cleaning import marks_of
from dawnbeat.training.run import Mark, ParsedRun, RunFigures, blob_of, samples_of
from dawnbeat.training.run_figures import figures_of

MAX_BYTES = 64 * 2**20
SUFFIXES = (".fit", ".tcx", ".gpx", ".csv")
_NO_SPORT = {"", "running", "run", "generic", "other", "trail_running", "walking", "hiking", "training", "9"}


@dataclass(frozen=True)
class PreparedRun:
    """All that the journal keeps of a file, worked out without the journal. blob: the samples, packed."""

    path: Path
    began: datetime
    format: str
    notes: tuple[str, ...]
    sha256: str
    blob: bytes
    marks: tuple[Mark, ...]
    figures: RunFigures


def prepare(
    path: Path, began: datetime | None = None, any_sport: bool = False, max_bytes: int = MAX_BYTES
) -> PreparedRun:
    """Read, clean and pack one file. began: see read_csv. any_sport: take cycling and the like as well.

    Raises DawnbeatError, naming the file, when it is too large, empty, damaged, unsafe or no run.
    """
    data = _bytes(path, max_bytes)
    try:
        run = parse(data, path.name, began)
        sport = (run.sport or "").strip().lower()
        if not any_sport and sport not in _NO_SPORT:
            raise DawnbeatError(
                f"it says {one_line(sport)[:40]!r}, not running: use --any-sport to take it all the same"
            )
        blob = blob_of(run.samples)
        # Worked out from what is kept, so that working it out again later gives the same.
        samples = samples_of(blob)
        marks = marks_of(samples)
        figures = figures_of(samples, marks)
        if figures.duration_s <= 0:
            raise DawnbeatError("it lasts no time: export the run again with its recording")
    except DawnbeatError as error:
        raise DawnbeatError(f"{one_line(path)}: {error}") from error
    return PreparedRun(
        path,
        run.began,
        run.format,
        run.notes,
        hashlib.sha256(data).hexdigest(),
        blob,
        marks,
        figures,
    )


def parse(data: bytes, name: str, began: datetime | None = None) -> ParsedRun:
    """The run of a file's content, by what it looks like and, for CSV, by its name."""
    # The readers' libraries take a while to import, and a CSV needs none of them.
    if not data.strip():
        raise DawnbeatError("it is empty: export the run again")
    head = data[:4096].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").replace(b"\0", b"")
    if data[8:12] == b".FIT":
        from dawnbeat.training.parse_fit import read_fit

        return read_fit(data)
    if head.startswith(b"<"):
        from dawnbeat.training.parse_xml import checked_text, read_gpx, read_tcx

        if b"<TrainingCenterDatabase" in head:
            return read_tcx(data)
        if b"<gpx" in head or b":gpx" in head:
            return read_gpx(data)
        checked_text(data)
        raise DawnbeatError("this XML file is neither TCX nor GPX: export the run in one of these, or as FIT or CSV")
    suffix = Path(name.lower().removesuffix(".gz")).suffix
    if suffix in (".csv", ".txt"):
        from dawnbeat.training.parse_csv import read_csv

        return read_csv(data, began)
    if suffix in SUFFIXES:
        raise DawnbeatError(f"it is no {suffix[1:].upper()} file though its name says so: export it again")
    raise DawnbeatError("this is no run file: name a FIT, TCX, GPX or CSV file")


def _bytes(path: Path, max_bytes: int) -> bytes:
    with plain_errors("read the run", path):
        if path.is_dir():
            raise DawnbeatError(f"{one_line(path)} is a folder: name a file")
        size = path.stat().st_size
        if size > max_bytes:
            raise _too_large(path, max_bytes)
        data = path.read_bytes()
    if data[:2] != b"\x1f\x8b":
        return data
    try:
        with gzip.open(path) as packed:
            data = packed.read(max_bytes + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise DawnbeatError(f"{one_line(path)} is a damaged gzip file: copy it again") from error
    if len(data) > max_bytes:
        raise _too_large(path, max_bytes)
    return data


def _too_large(path: Path, max_bytes: int) -> DawnbeatError:
    return DawnbeatError(
        f"{one_line(path)} is over {max_bytes / 2**20:g} MB, more than any run: it was not read; export the run alone"
    )
