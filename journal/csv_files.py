"""Mornings and intervals as CSV files for other programs, each whole or not there, and a row read back."""

from __future__ import annotations

import csv
import io
import json
import math
import uuid
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from dawnbeat.journal import periods
from dawnbeat.journal.columns import BY_NAME, COLUMNS, CONTEXT, WITH_INTERVAL, reading_from
from dawnbeat.journal.periods import Period, by_month, by_year
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.files import STANDARD_OUTPUT, refuse_existing, unguard, write_export
from dawnbeat.shared.morning import ORIGINS, Context, StoredReading
from dawnbeat.shared.reading import Finding, Verdict, findings_from_data

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
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(column.name for column in EXPORTED)
    writer.writerows(cells_of(reading) for reading in readings)
    return text.getvalue()


def export_periods(journal: Journal, out: Path, overwrite: bool = False) -> int:
    """Write one row a month and a year, with 95 % intervals, and return how many; faults as in `export_mornings`."""
    mornings = journal.mornings()
    found = [*by_month(mornings), *by_year(mornings)]
    write_export(out, periods_csv(found), "write the months", overwrite)
    return len(found)


def periods_csv(found: Sequence[Period]) -> str:
    """The text of a CSV of months and years."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(periods.COLUMNS)
    writer.writerows(periods.csv_cells(each) for each in found)
    return text.getvalue()


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
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(("time_s", "interval_ms", "kept", "reason"))
    for start_s, interval_ms, reason in zip(
        intervals.start_s.tolist(), intervals.interval_ms.tolist(), intervals.left_out, strict=True
    ):
        writer.writerow((f"{start_s:.6f}", f"{interval_ms:.3f}", "no" if reason else "yes", reason or ""))
    if out == STANDARD_OUTPUT:
        write_export(out, text.getvalue(), "write the intervals", overwrite)
        return ()
    lines = "".join(f"{interval_ms:.3f}\n" for interval_ms in intervals.kept_ms.tolist())
    stem = out.with_suffix("") if out.suffix.lower() in (".csv", ".txt") else out
    paths = tuple(stem.with_name(stem.name + suffix) for suffix in (".csv", ".txt"))
    for path in paths:
        refuse_existing(path, overwrite)
    for path, content in zip(paths, (text.getvalue(), lines), strict=True):
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
