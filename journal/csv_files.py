"""Mornings and intervals as CSV files for other programs, each whole or not there, and mornings read back from them.

Reading back is a plan first, then all of it in one transaction or nothing.
"""

from __future__ import annotations

import csv
import io
import json
import math
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from dawnbeat.journal import rows
from dawnbeat.journal.columns import BY_NAME, COLUMNS, CONTEXT, WITH_INTERVAL, reading_from
from dawnbeat.journal.database import copy_aside, journal_errors, utc_now
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import (
    STANDARD_OUTPUT,
    csv_text,
    refuse_existing,
    refuse_special,
    text_of_csv,
    unguard,
    write_export,
)
from dawnbeat.shared.morning import ORIGINS, Context, StoredReading
from dawnbeat.shared.reading import Finding, Verdict, findings_from_data
from dawnbeat.shared.wording import CLOCKS_APART

# A column of exports from before the first release: sentences, where findings are now.
SENTENCES = "reasons"
# What a heart, a camera and a morning can give, by unit; far outside the sane, so that only slips are caught.
BOUNDS: Mapping[str, tuple[float, float]] = {
    "bpm": (15, 300),
    "ms": (0, 10_000),
    "ln ms": (-5, 9.3),
    "%": (0, 100),
    "0 to 1": (0, 1),
    "count": (0, 1_000_000),
    "s": (0, 86_400),
    "1/s": (0, 10_000),
}
_SAME_LN = 0.01  # a logarithm rounded to two decimals is still the same one
EXPORTED = tuple(each for each in COLUMNS if each.exported)


def export_mornings(
    journal: Journal,
    out: Path,
    first: date | None = None,
    last: date | None = None,
    include_not_usable: bool = False,
    overwrite: bool = False,
) -> int:
    """Write one row a reading (EXPORTED; UTF-8, RFC 4180) and return how many; the bin is left out.

    out: "-" is standard output. Raises DawnbeatError when a file of that name is there and overwrite is False, or it
    can't be written; what was there before stays until the new file is complete.
    """
    if first is not None and last is not None and first > last:
        raise DawnbeatError(f"nothing lies between {first} and {last}: give the earlier day first")
    chosen = [each for each in journal.readings(first, last) if include_not_usable or each.verdict.usable]
    write_export(out, mornings_csv(chosen), "write the mornings", overwrite)
    return len(chosen)


def mornings_csv(readings: list[StoredReading]) -> str:
    """The text of a mornings CSV."""
    return csv_text((column.name for column in EXPORTED), map(cells_of, readings))


def export_intervals(journal: Journal, out: Path, day: date, overwrite: bool = False) -> tuple[Path, ...]:
    """Write the intervals of the reading that counts on a day, else of its last one.

    OUT.csv holds time_s, interval_ms, kept (yes or no) and reason; OUT.txt the kept intervals in ms, one a
    line. Where `out` is "-", the first goes to standard output. Returns the paths. Raises DawnbeatError when the day
    has no reading, it has no intervals, a file is there and overwrite is False, or one can't be written.
    """
    reading = journal.counting(day)
    intervals = journal.intervals(reading.id)
    if not len(intervals):
        raise DawnbeatError(
            f"the reading of {day} has no intervals, as one from a CSV file: choose another day or restore a backup"
        )
    text = csv_text(
        ("time_s", "interval_ms", "kept", "reason"),
        (
            (f"{start_s:.6f}", f"{interval_ms:.3f}", "no" if reason else "yes", reason or "")
            for start_s, interval_ms, reason in zip(
                intervals.start_s.tolist(), intervals.interval_ms.tolist(), intervals.left_out, strict=True
            )
        ),
    )
    if out == STANDARD_OUTPUT:
        write_export(out, text, "write the intervals", overwrite)
        return ()
    lines = "".join(f"{interval_ms:.3f}\n" for interval_ms in intervals.kept_ms.tolist())
    # The names written differ from the one given, which must not be a pipe or folder either.
    refuse_existing(out, overwrite=True)
    stem = out.with_suffix("") if out.suffix.lower() in (".csv", ".txt") else out
    paths = tuple(stem.with_name(stem.name + suffix) for suffix in (".csv", ".txt"))
    for path in paths:
        refuse_existing(path, overwrite)
    for path, content in zip(paths, (text, lines), strict=True):
        write_export(path, content, "write the intervals", overwrite)
    return paths


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
    if not given["findings"] and cells.get(SENTENCES):
        given["findings"] = _findings_of_sentences(cells[SENTENCES])
    if given["ln_rmssd"] is None and given["rmssd_ms"]:
        given["ln_rmssd"] = math.log(given["rmssd_ms"])
    _refuse_contradictions(given)
    try:
        verdict = Verdict(given["usable"], given["pulse_usable"], given["irregular"], given["findings"])
    except ValueError as error:
        raise DawnbeatError("usable: it goes with pulse_usable yes and irregular no") from error
    context = Context(**{name: given[name] for name in CONTEXT})
    return reading_from({**given, "context": context, "verdict": verdict})


def _findings_of_sentences(cell: str) -> tuple[Finding, ...]:
    """A sentence becomes the code of a finding, which is shown as it stands."""
    try:
        return findings_from_data([{"code": sentence} for sentence in json.loads(unguard(cell))])
    except (ValueError, TypeError, RecursionError) as error:
        raise DawnbeatError(f"{SENTENCES} is {cell[:40]!r}: give a JSON list of texts") from error


def _refuse_contradictions(given: Mapping[str, Any]) -> None:
    """Raise DawnbeatError where the values of one reading can't all be true."""
    began = given["began"]
    if given["date"] not in (None, began.date()):
        raise DawnbeatError(f"date is {given['date']}, but the reading began on {began.date()}: make them agree")
    for column in EXPORTED:
        bounds, value = BOUNDS.get(column.unit), given[column.name]
        if bounds is not None and value is not None and not bounds[0] <= value <= bounds[1]:
            raise DawnbeatError(
                f"{column.name} is {value:g}: it goes from {bounds[0]:g} to {bounds[1]:g} {column.unit}"
            )
    for name in WITH_INTERVAL:
        low, high = given[f"{name}_low"], given[f"{name}_high"]
        if (low is None) != (high is None):
            raise DawnbeatError(f"{name}_low and {name}_high: give both or neither")
        if low is not None and low > high:
            raise DawnbeatError(f"{name}_low is {low:g} and {name}_high {high:g}: exchange them")
    rmssd_ms, ln_rmssd = given["rmssd_ms"], given["ln_rmssd"]
    if rmssd_ms and ln_rmssd is not None and abs(math.log(rmssd_ms) - ln_rmssd) > _SAME_LN:
        raise DawnbeatError(f"ln_rmssd is {ln_rmssd:g}, but the logarithm of rmssd_ms is {math.log(rmssd_ms):.4g}")
    for verdict, needed in (("usable", "rmssd_ms"), ("pulse_usable", "mean_hr_bpm")):
        if given[verdict] and not given[needed]:
            raise DawnbeatError(f"{needed} is empty or 0, but {verdict} is yes: give both, or say no")


MAX_BYTES = 256 * 2**20
_MOST_SHOWN = 20


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
        ahead = sum(each.began > datetime.now(UTC) + CLOCKS_APART for each in self.new)
        if ahead:
            said.append(f"{ahead} of the new still to come by their date: check the clock that dated them")
        different = [
            f"line {each.line}: {each.ours.began:%Y-%m-%d %H:%M} differs in {', '.join(each.differing)}"
            for each in self.conflicts
        ]
        said += _at_most(different, "that differ")
        said += _at_most([f"line {each.line}: {each.message}" for each in self.errors], "lines with errors")
        if self.errors:
            said.append("nothing can be imported until these lines are put right")
        return said


def _at_most(lines: list[str], what: str) -> list[str]:
    more = len(lines) - _MOST_SHOWN
    return [*lines[:_MOST_SHOWN], f"and {more} more {what}"] if more > 0 else lines


def plan_import(journal: Journal, path: Path) -> ImportPlan:
    """Read a mornings CSV and compare it with the journal; changes nothing.

    Raises DawnbeatError when the file can't be read or its header is not that of a mornings CSV.
    """
    with plain_errors("read the mornings", path):
        refuse_special(path)
        if path.stat().st_size > MAX_BYTES:
            raise DawnbeatError(f"{one_line(path)} is over {MAX_BYTES} bytes: this is no mornings CSV")
        data = path.read_bytes()
    try:
        text, separator = text_of_csv(data)
    except DawnbeatError as error:
        raise DawnbeatError(f"{one_line(path)}, {error}") from error
    present = [*journal.readings(), *journal.bin()]
    by_uid = {each.uid: each for each in present}
    by_moment = {each.began: each for each in present}
    new: list[StoredReading] = []
    conflicts: list[Conflict] = []
    errors: list[LineError] = []
    rows_found: list[tuple[int, bool, StoredReading]] = []
    for line, found in _records(path, text, separator):
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
    errors.sort(key=lambda each: each.line)
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
    saved_at = utc_now()
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


def _records(path: Path, text: str, separator: str) -> Iterator[tuple[int, dict[str, str] | str]]:
    """Each row with the line where it begins: its cells by column name, or what is wrong with it."""
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
            yield line, f"it has {len(cells)} cells, and the header has {len(header)}: check commas and quotes"
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
