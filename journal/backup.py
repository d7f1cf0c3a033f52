"""The whole journal in one zip, and back: verified before anything is touched."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import sqlite3
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from dawnbeat.journal.database import check, connect, copy_whole, is_locked, journal_errors
from dawnbeat.journal.folder import (
    DATABASE,
    RECORDINGS,
    data_folder,
    finish_restore,
    is_read_only,
    is_safe_path,
    make_home,
    no_step,
    swap_in,
)
from dawnbeat.journal.store import BUSY_S, Journal
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import (
    FILE_MODE,
    private_folder,
    refuse_existing,
    refuse_special,
    replacing,
    sync_file,
    sync_folder,
)
from dawnbeat.shared.installed import software_version

FORMAT = 1
MANIFEST = "manifest.json"
MAX_BYTES = 100 * 2**30
_MAX_MANIFEST_BYTES = 256 * 2**20
_CHUNK = 2**20
_PACKED_ALREADY = {".avi", ".mp4", ".mkv", ".mov", ".gz", ".zip"}
_DAY_FOLDER = re.compile(r"\d{4}-\d{2}-\d{2}")

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Backup:
    """What a backup holds.

    bytes: before packing, database included. aside: where a restore kept the journal that was there.
    """

    path: Path
    readings: int
    recordings: int
    bytes: int
    aside: Path | None = None


def backup(journal: Journal, out: Path, overwrite: bool = False, progress: Progress = lambda done, of: None) -> Backup:
    """Write the database (SQLite online backup) and all recordings into one zip with SHA-256 checksums, 0600.

    progress: called with files done and files in all. Raises DawnbeatError when `out` exists and overwrite is
    False, or can't be written; then nothing is left under that name that was not there before.
    """
    refuse_existing(out, overwrite)
    with (
        journal_errors("write the backup", out),
        # Where the journal can only be read, the place of the backup is the one that surely can be written to.
        tempfile.TemporaryDirectory(dir=out.parent if journal.read_only else journal.home, prefix=".backup-") as temp,
    ):
        database = Path(temp, DATABASE)
        copy_whole(journal.connection, database)
        files = [(DATABASE, database), *_recording_files(journal.home)]
        listed: dict[str, dict[str, Any]] = {}
        with replacing(out) as raw, zipfile.ZipFile(raw, "w") as archive:
            for done, (name, path) in enumerate(files, start=1):
                with path.open("rb") as source:
                    listed[name] = _add(archive, name, source)
                progress(done, len(files))
            about = {
                "format": FORMAT,
                "made": datetime.now(UTC).isoformat(timespec="seconds"),
                "version": software_version(),
                "files": listed,
            }
            archive.writestr(_entry(MANIFEST), json.dumps(about, indent=1))
        return _summary(database, out, listed)


def restore(
    archive_path: Path,
    home: Path | None = None,
    max_bytes: int = MAX_BYTES,
    busy_s: float = BUSY_S,
    step: Callable[[str], None] = no_step,
) -> Backup:
    """Put the journal of a backup in the place of the present one, which is kept aside under a dated name.

    Everything is verified first: names, sizes, checksums, and the database itself. max_bytes: the most that
    the backup may unpack to. Raises DawnbeatError, with the present journal untouched, when the file is not
    a sound backup, another program has the journal open, or there is no room.
    """
    home = data_folder(home)
    if home.exists() and is_read_only(home):
        raise DawnbeatError(f"can't restore into {one_line(home)}: it, or the journal in it, is closed to writing")
    make_home(home)
    with journal_errors("restore the backup", archive_path):
        finish_restore(home)
        new = Path(tempfile.mkdtemp(dir=home, prefix=".restore-"))
        try:
            listed = _unpack(archive_path, new, max_bytes)
            step("unpacked")
            found = _check_database(new / DATABASE, archive_path, listed)
            _let_go(home / DATABASE, busy_s)
            step("verified")
        except BaseException:
            shutil.rmtree(new, ignore_errors=True)
            raise
        aside = swap_in(home, new, step)
    return Backup(archive_path, found.readings, found.recordings, found.bytes, aside)


def _recording_files(home: Path) -> Iterator[tuple[str, Path]]:
    for path in sorted((home / RECORDINGS).rglob("*")):
        name = path.relative_to(home).as_posix()
        day = name.split("/")[1]
        if (
            path.is_file()
            and not path.is_symlink()
            and _DAY_FOLDER.fullmatch(day)
            and is_safe_path("/".join(name.split("/")[:3]))
        ):
            yield name, path


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=datetime.now().timetuple()[:6])
    entry.external_attr = (stat.S_IFREG | FILE_MODE) << 16
    packed = Path(name).suffix.lower() in _PACKED_ALREADY
    entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
    return entry


def _add(archive: zipfile.ZipFile, name: str, source: IO[bytes]) -> dict[str, Any]:
    digest, size = hashlib.sha256(), 0
    with archive.open(_entry(name), "w", force_zip64=True) as target:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
            target.write(chunk)
    return {"sha256": digest.hexdigest(), "bytes": size}


def _summary(database: Path, path: Path, listed: dict[str, dict[str, Any]]) -> Backup:
    connection = sqlite3.connect(database)
    try:
        readings = connection.execute("SELECT count(*) FROM readings").fetchone()[0]
    finally:
        connection.close()
    folders = {"/".join(name.split("/")[:3]) for name in listed if name != DATABASE}
    return Backup(path, readings, len(folders), sum(int(entry["bytes"]) for entry in listed.values()))


def _unpack(path: Path, new: Path, max_bytes: int) -> dict[str, dict[str, Any]]:
    """Unpack a backup into `new`, checking each file's name, size and checksum."""
    try:
        refuse_special(path)
        with zipfile.ZipFile(path) as archive:
            listed = _manifest(archive, path)
            declared = sum(entry["bytes"] for entry in listed.values())
            if declared > max_bytes:
                raise _refused(path, f"it would unpack to {declared} bytes, and the limit is {max_bytes}")
            if declared > shutil.disk_usage(new).free:
                raise _refused(path, f"it needs {declared} bytes of free space: make room and try again")
            private_folder(new / RECORDINGS)
            for name, entry in listed.items():
                _unpack_one(archive, name, entry, new, path)
            for folder in (new, *(each for each in new.rglob("*") if each.is_dir())):
                sync_folder(folder)
            return listed
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise _refused(path, f"the zip is damaged ({one_line(error)})") from error


def _manifest(archive: zipfile.ZipFile, path: Path) -> dict[str, dict[str, Any]]:
    """What the manifest lists, once it agrees with the zip's own list of entries."""
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    if MANIFEST not in names:
        raise _refused(path, f"it has no {MANIFEST}")
    if archive.getinfo(MANIFEST).file_size > _MAX_MANIFEST_BYTES:
        raise _refused(path, f"its {MANIFEST} is too large")
    try:
        about = json.loads(archive.read(MANIFEST))
        number, files = about["format"], about["files"]
        listed = {str(name): {"sha256": str(e["sha256"]), "bytes": int(e["bytes"])} for name, e in files.items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _refused(path, f"its {MANIFEST} can't be read") from error
    if number != FORMAT:
        raise _refused(path, f"it has format {number!r}, and this version knows {FORMAT}: install a newer version")
    for entry in entries:
        name = entry.filename
        if name != MANIFEST and not _is_safe_name(name):
            raise _refused(path, f"entry {name!r} would lie outside the journal's folder")
        if entry.is_dir() or stat.S_IFMT(entry.external_attr >> 16) not in (0, stat.S_IFREG):
            raise _refused(path, f"entry {name!r} is not a plain file")
        if name != MANIFEST and (name not in listed or entry.file_size != listed[name]["bytes"]):
            raise _refused(path, f"entry {name!r} is not the one that the manifest lists")
    folded = {name.casefold() for name in names}
    if len(folded) != len(names) or len(names) != len(listed) + 1 or DATABASE not in listed:
        raise _refused(path, "files are missing from it, or stand in it twice")
    return listed


def _is_safe_name(name: str) -> bool:
    parts = name.split("/")
    if any(part in ("", ".", "..") or part.endswith((".", " ")) for part in parts):
        return False
    if any(letter in '\\:*?"<>|' or not letter.isprintable() for letter in name):
        return False
    return name == DATABASE or (len(parts) >= 4 and is_safe_path("/".join(parts[:3])))


def _unpack_one(archive: zipfile.ZipFile, name: str, entry: dict[str, Any], new: Path, path: Path) -> None:
    target = new.joinpath(*name.split("/"))
    private_folder(target.parent)
    digest, left = hashlib.sha256(), entry["bytes"]
    with archive.open(name) as source, target.open("xb") as file:
        while chunk := source.read(_CHUNK):
            left -= len(chunk)
            if left < 0:
                break
            digest.update(chunk)
            file.write(chunk)
    if left != 0 or digest.hexdigest() != entry["sha256"]:
        raise _refused(path, f"the checksum of {name!r} is wrong, so the backup is damaged")
    target.chmod(FILE_MODE)
    sync_file(target)


def _check_database(database: Path, path: Path, listed: dict[str, dict[str, Any]]) -> Backup:
    connection = sqlite3.connect(database)
    try:
        if not check(connection, database):
            raise _refused(path, "its database is empty")
    except (sqlite3.Error, DawnbeatError) as error:
        raise _refused(path, f"its database can't be used ({one_line(error)})") from error
    finally:
        connection.close()
    return _summary(database, path, listed)


def _let_go(present: Path, busy_s: float) -> None:
    """Make sure that nobody else has the present journal open, and fold its side files into it."""
    if not present.exists():
        return
    with journal_errors("restore the backup", present):
        connection = connect(present, busy_s)
        try:
            # Leaving WAL mode needs the file for itself, so it fails while any other program has it open.
            connection.execute("PRAGMA journal_mode = DELETE").fetchall()
        except sqlite3.Error as error:
            # A damaged journal is the very reason to restore: it is kept aside as it is.
            if is_locked(error):
                raise
        finally:
            connection.close()


def _refused(path: Path, why: str) -> DawnbeatError:
    return DawnbeatError(f"can't restore {one_line(path)}: {one_line(why)}; the present journal was left as it is")
