"""Mornings and intervals as CSV files for other programs, and mornings read back.

An export is whole or not there, for the user alone. An import is a plan first, then all of it in one transaction or
nothing.
"""

from __future__ import annotations

import csv
import io
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from dawnbeat.journal import rows
from dawnbeat.journal.columns import BY_NAME, COLUMNS, WITH_INTERVAL, reading_from
from dawnbeat.journal.faults import journal_errors
from dawnbeat.journal.schema import copy_aside
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.morning import ORIGINS, StoredReading
from dawnbeat.shared.private_files import refuse_another_file, replacing

MAX_BYTES = 256 * 2**20
_ERRORS_SHOWN = 20
EXPORTED = tuple(each for each in COLUMNS if each.exported)


def export_mornings(
    journal: Journal,
    out: Path,
    first: date | None = None,
    last: date | None = None,
    include_not_usable: bool = False,
) -> int:
    """Write one row a reading (columns.COLUMNS; UTF-8, RFC 4180) and return how many; the bin is left out.

    Raises DawnbeatError when the file can't be written. An earlier export of that name is replaced, by a whole one
    only; any other file is refused.
    """
    if first is not None and last is not None and first > last:
        raise DawnbeatError(f"nothing lies between {first} and {last}: give the earlier day first")
    chosen = [each for each in journal.readings(first, last) if include_not_usable or each.verdict.usable]
    text = mornings_csv(chosen)
    refuse_another_file(out, text)
    with journal_errors("write the mornings", out), replacing(out) as file:
        file.write(text.encode("utf-8"))
    return len(chosen)


def mornings_csv(readings: list[StoredReading]) -> str:
    """The text of a mornings CSV."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(column.name for column in EXPORTED)
    writer.writerows(cells_of(reading) for reading in readings)
    return text.getvalue()


def export_intervals(journal: Journal, out: Path, day: date) -> tuple[Path, Path]:
    """Write the intervals of the reading that counts on a day, else of its last one.

    OUT.csv holds time_s, interval_ms, kept (yes or no) and reason; OUT.txt the kept intervals in ms, one a
    line. Returns both paths. Raises DawnbeatError when the day has no reading, it has no intervals, or a
    file can't be written.
    """
    reading = journal.counting(day)
    intervals = journal.intervals(reading.id)
    if not len(intervals):
        raise DawnbeatError(
            f"the reading of {day} has no intervals, as one from a CSV file: choose another day or restore a backup"
        )
    stem = out.with_suffix("") if out.suffix.lower() in (".csv", ".txt") else out
    table, plain = (stem.with_name(stem.name + suffix) for suffix in (".csv", ".txt"))
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(("time_s", "interval_ms", "kept", "reason"))
    for start_s, interval_ms, reason in zip(
        intervals.start_s.tolist(), intervals.interval_ms.tolist(), intervals.left_out, strict=True
    ):
        writer.writerow((f"{start_s:.6f}", f"{interval_ms:.3f}", "no" if reason else "yes", reason or ""))
    lines = "".join(f"{interval_ms:.3f}\n" for interval_ms in intervals.kept_ms.tolist())
    refuse_another_file(table, text.getvalue())
    refuse_another_file(plain, "1")
    with (
        journal_errors("write the intervals", out),
        replacing(table) as table_file,
        replacing(plain) as plain_file,
    ):
        table_file.write(text.getvalue().encode("utf-8"))
        plain_file.write(lines.encode("ascii"))
    return table, plain


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
            said.append(f"{self.in_bin} in the bin, which stay there: restore them from the bin")
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
    same = in_bin = 0
    seen: dict[str, int] = {}
    for line, found in _records(path, text):
        if isinstance(found, str):
            errors.append(LineError(line, found))
            continue
        try:
            theirs = reading_of(found)
        except DawnbeatError as error:
            errors.append(LineError(line, str(error)))
            continue
        named = bool(found.get("uid"))
        ours = by_uid.get(theirs.uid) if named else by_moment.get(theirs.began)
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
    return ImportPlan(path, tuple(new), same, tuple(conflicts), in_bin, tuple(errors))


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
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
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
            yield line, dict(zip(header, cells, strict=True))
    if header is None:
        raise DawnbeatError(f"{one_line(path)} is empty: name a file that `dawnbeat export mornings` wrote")


def _header(path: Path, cells: list[str]) -> list[str]:
    known = {column.name for column in EXPORTED}
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


def cells_of(reading: StoredReading) -> list[str]:
    """The cells of one reading, in the order of EXPORTED; an empty cell stands for None."""
    values = ((column, column.value(reading)) for column in EXPORTED)
    return ["" if value is None else column.kind.cell(value) for column, value in values]


def reading_of(cells: Mapping[str, str]) -> StoredReading:
    """The reading that cells by column name describe, with id 0; a missing column counts as an empty cell.

    Raises DawnbeatError that names the column and what it may hold.
    """
    given: dict[str, Any] = dict.fromkeys(BY_NAME)
    for column in EXPORTED:
        cell = cells.get(column.name, "")
        if not cell and column.needed:
            raise DawnbeatError(f"{column.name} is empty: give {column.meaning} ({column.unit or 'text'})")
        try:
            given[column.name] = column.kind.from_cell(cell) if cell else None
        except DawnbeatError as error:
            raise DawnbeatError(f"{column.name}: {error}") from error
        except (ValueError, OverflowError, RecursionError) as error:
            raise DawnbeatError(
                f"{column.name} is {cell[:40]!r}: give {column.meaning} ({column.unit or 'text'})"
            ) from error
    _refuse_contradictions(given)
    usual = {
        "uid": uuid.uuid4().hex,
        "camera": "",
        "origin": ORIGINS[0],
        "version": "",
        "settings": "{}",
        "picked": False,
        "kept_beats": 0,
        "findings": (),
        "irregular": False,
        "pulse_usable": given["usable"],
    }
    for name, value in usual.items():
        if given[name] is None:
            given[name] = value
    try:
        return reading_from(given)
    except ValueError as error:
        raise DawnbeatError("usable: it goes with pulse_usable yes and irregular no") from error


def _refuse_contradictions(given: Mapping[str, Any]) -> None:
    """Raise DawnbeatError where the values of one reading can't all be true."""
    began = given["began"]
    if given["date"] not in (None, began.date()):
        raise DawnbeatError(f"date is {given['date']}, but the reading began on {began.date()}: make them agree")
    for name in WITH_INTERVAL:
        low, high = given[f"{name}_low"], given[f"{name}_high"]
        if (low is None) != (high is None):
            raise DawnbeatError(f"{name}_low and {name}_high: give both or neither")
