"""Mornings read back from CSV: a plan first, then all of it in one transaction or nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from dawnbeat.journal import rows
from dawnbeat.journal.columns import BY_NAME
from dawnbeat.journal.csv_files import EXPORTED, SENTENCES, cells_of, reading_of
from dawnbeat.journal.faults import journal_errors
from dawnbeat.journal.schema import copy_aside
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import separator_of
from dawnbeat.shared.morning import StoredReading

MAX_BYTES = 256 * 2**20
_ERRORS_SHOWN = 20


@dataclass(frozen=True)
class LineError:
    """A row that can't be read. line: where it begins in the file, counted from 1."""

    line: int
    message: str


@dataclass(frozen=True)
class Conflict:
    """A row that names a reading of this journal but says something else. differing: the columns."""

    line: int
    ours: StoredReading
    theirs: StoredReading
    differing: tuple[str, ...]


@dataclass(frozen=True)
class ImportPlan:
    """What an import would do; nothing is changed yet.

    same: rows that the journal has already. in_bin: rows whose reading lies in the bin, which stays there.
    """

    path: Path
    new: tuple[StoredReading, ...]
    same: int
    conflicts: tuple[Conflict, ...]
    in_bin: int
    errors: tuple[LineError, ...]

    def lines(self) -> list[str]:
        """The plan in words, one statement a line."""
        said = [f"{len(self.new)} new, {self.same} here already, {len(self.conflicts)} different from the journal's"]
        if self.in_bin:
            said.append(f"{self.in_bin} in the bin, which stay there: `dawnbeat bin --back NUMBER` brings one back")
        for conflict in self.conflicts[:_ERRORS_SHOWN]:
            said.append(
                f"line {conflict.line}: {conflict.ours.began:%Y-%m-%d %H:%M} differs in {', '.join(conflict.differing)}"
            )
        if len(self.conflicts) > _ERRORS_SHOWN:
            said.append(f"and {len(self.conflicts) - _ERRORS_SHOWN} more that differ")
        said += [f"line {error.line}: {error.message}" for error in self.errors[:_ERRORS_SHOWN]]
        if len(self.errors) > _ERRORS_SHOWN:
            said.append(f"and {len(self.errors) - _ERRORS_SHOWN} more lines with errors")
        if self.errors:
            said.append("nothing can be imported until these lines are put right")
        return said


def plan_import(journal: Journal, path: Path) -> ImportPlan:
    """Read a mornings CSV and compare it with the journal; changes nothing.

    Raises DawnbeatError when the file can't be read or its header is not that of a mornings CSV.
    """
    with journal_errors("read the mornings", path):
        if path.stat().st_size > MAX_BYTES:
            raise DawnbeatError(f"{one_line(path)} is over {MAX_BYTES} bytes: this is no mornings CSV")
        data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise DawnbeatError(f"{one_line(path)}, line {line}: not UTF-8: save the file as UTF-8") from error
    present = [*journal.readings(), *journal.bin()]
    by_uid = {each.uid: each for each in present}
    by_moment = {each.began: each for each in present}
    new: list[StoredReading] = []
    conflicts: list[Conflict] = []
    errors: list[LineError] = []
    rows_found: list[tuple[int, bool, StoredReading]] = []
    for line, found in _records(path, text):
        try:
            if isinstance(found, str):
                raise DawnbeatError(found)
            rows_found.append((line, bool(found.get("uid")), reading_of(found)))
        except DawnbeatError as error:
            errors.append(LineError(line, str(error)))
    names = {theirs.uid for _, named, theirs in rows_found if named}
    same = in_bin = 0
    seen: dict[str, int] = {}
    for line, named, theirs in rows_found:
        ours = by_uid.get(theirs.uid)
        if ours is None:
            ours = by_moment.get(theirs.began)
            # A row that lost its name, or a reading that came from one, is known by its moment. A reading of the
            # journal's own, or one that the file names elsewhere, is another that begins in the same second.
            if ours is not None and named and (ours.uid in names or len(journal.intervals(ours.id))):
                ours = None
        if ours is not None:
            theirs = replace(theirs, uid=ours.uid)
        key = theirs.uid if named or ours is not None else theirs.began.isoformat()
        if key in seen:
            errors.append(LineError(line, f"the same reading as line {seen[key]}: remove one of them"))
            continue
        seen[key] = line
        if ours is None:
            new.append(theirs)
        elif ours.binned_at is not None:
            in_bin += 1
        elif differing := _differing(ours, theirs):
            conflicts.append(Conflict(line, ours, theirs, differing))
        else:
            same += 1
    in_order = tuple(sorted(errors, key=lambda each: each.line))
    return ImportPlan(path, tuple(new), same, tuple(conflicts), in_bin, in_order)


def apply_import(journal: Journal, plan: ImportPlan, replace_different: bool = False) -> int:
    """Carry out a plan in one transaction; returns how many readings were added or replaced.

    replace_different: let the file's rows replace the journal's where they differ, after a copy of the
    database is put into the backups folder; otherwise the journal's stay. Raises DawnbeatError, with nothing
    changed, when the plan has errors or the journal has changed so that it no longer fits.
    """
    if plan.errors:
        first = plan.errors[0]
        raise DawnbeatError(
            f"nothing was imported: {one_line(plan.path)}, line {first.line}: {first.message}"
            + (f" (and {len(plan.errors) - 1} more)" if len(plan.errors) > 1 else "")
        )
    replaced = plan.conflicts if replace_different else ()
    saved_at = datetime.now(UTC).isoformat()
    if replaced:
        with journal_errors("copy the journal before the import", journal.path):
            copy_aside(journal.connection, journal.path, "before-import")
    with journal.transaction("import the mornings") as connection:
        here = {uid for (uid,) in connection.execute("SELECT uid FROM readings")}
        if any(each.uid in here for each in plan.new) or any(each.ours.uid not in here for each in replaced):
            raise DawnbeatError("the journal has changed since the plan was made: plan the import again")
        for reading in plan.new:
            rows.insert_reading(connection, reading, saved_at)
        for conflict in replaced:
            theirs, ours = conflict.theirs, conflict.ours
            rows.update_reading(connection, ours.id, theirs)
            if theirs.metrics != ours.metrics:
                # The stored intervals no longer belong to these figures.
                connection.execute("DELETE FROM intervals WHERE reading_id = ?", (ours.id,))
    return len(plan.new) + len(replaced)


def _records(path: Path, text: str) -> Iterator[tuple[int, dict[str, str] | str]]:
    """Each row with the line where it begins: its cells by column name, or what is wrong with it."""
    separator = separator_of(text.split("\n", 1)[0])
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    header: list[str] | None = None
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            message = f"not readable as CSV ({one_line(error)}): check its quotes"
            if header is None:
                raise DawnbeatError(f"{one_line(path)}, line {line}: {message}") from error
            yield line, message
            # After a broken quote there is no telling where the next row begins.
            break
        if header is None:
            header = _header(path, cells)
        elif cells and len(cells) != len(header):
            yield (
                line,
                f"it has {len(cells)} cells, and the header has {len(header)}: check commas and quotes",
            )
        elif cells:
            if separator != ",":
                # A spreadsheet that separates by something else may write numbers with a decimal comma.
                cells = [
                    cell.replace(",", ".") if BY_NAME[name].is_number else cell
                    for name, cell in zip(header, cells, strict=True)
                ]
            yield line, dict(zip(header, cells, strict=True))
    if header is None:
        raise DawnbeatError(f"{one_line(path)} is empty: name a file that `dawnbeat export mornings` wrote")


def _header(path: Path, cells: list[str]) -> list[str]:
    known = {SENTENCES, *(column.name for column in EXPORTED)}
    missing = [column.name for column in EXPORTED if column.needed and column.name not in cells]
    unknown = [name for name in cells if name not in known]
    if missing:
        raise DawnbeatError(
            f"{one_line(path)} has no column {', '.join(missing)}: name a file that `dawnbeat export mornings` wrote"
        )
    if unknown:
        raise DawnbeatError(
            f"{one_line(path)} has an unknown column {one_line(unknown[0])!r}: remove it, or install the "
            "version that wrote it"
        )
    if len(set(cells)) != len(cells):
        raise DawnbeatError(f"{one_line(path)} has a column twice: remove one of them")
    return cells


def _differing(ours: StoredReading, theirs: StoredReading) -> tuple[str, ...]:
    pairs = zip(EXPORTED, cells_of(ours), cells_of(theirs), strict=True)
    return tuple(column.name for column, mine, other in pairs if column.part != "derived" and mine != other)
