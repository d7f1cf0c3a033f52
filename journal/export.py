"""Mornings and intervals as files for other programs, each whole or not there, for the user alone."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

from dawnbeat.journal.columns import COLUMNS, cells_of
from dawnbeat.journal.faults import plain_errors
from dawnbeat.journal.place import refuse_another_file, replacing
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading


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
    with plain_errors("write the mornings", out), replacing(out) as file:
        file.write(text.encode("utf-8"))
    return len(chosen)


def mornings_csv(readings: list[StoredReading]) -> str:
    """The text of a mornings CSV."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(column.name for column in COLUMNS)
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
        plain_errors("write the intervals", out),
        replacing(table) as table_file,
        replacing(plain) as plain_file,
    ):
        table_file.write(text.getvalue().encode("utf-8"))
        plain_file.write(lines.encode("ascii"))
    return table, plain
