"""The runs of the journal: kept in its database, so that its backup holds them too."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np

from dawnbeat.journal.faults import journal_errors
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import with_fixed_offset
from dawnbeat.shared.trace import IntArray
from dawnbeat.training.load_run import PreparedRun
from dawnbeat.training.run import (
    CAN_BE_OVERRULED,
    LONGEST_RUN_S,
    Mark,
    Run,
    RunFigures,
    Samples,
    check_felt_effort,
    check_note,
    samples_of,
)
from dawnbeat.training.run_figures import BINS, figures_by_hand, figures_of

SAME_START_S = 2
BY_HAND = "by hand"
_LONGEST_WAY_M = 1_000_000.0
_COLUMNS = (
    "id, began, elapsed_s, duration_s, measured_s, missing_json, distance_m, mean_bpm, peak_bpm, drift_pct, ms_at_bpm, "
    "felt_effort, note, race, source, format"
)


@dataclass(frozen=True)
class Kept:
    """What became of a file. run_id: the run that holds it; new: whether it was added just now."""

    run_id: int
    new: bool
    in_bin: bool = False


def keep(journal: Journal, run: PreparedRun) -> Kept:
    """Add a prepared run in one transaction, unless its content or its start is here already."""
    with journal.transaction("save the run") as connection:
        found = connection.execute(
            "SELECT id, binned_at FROM runs WHERE sha256 = ? OR began_utc_s BETWEEN ? AND ? LIMIT 1",
            (run.sha256, _utc_s(run.began) - SAME_START_S, _utc_s(run.began) + SAME_START_S),
        ).fetchone()
        if found is not None:
            return Kept(found[0], new=False, in_bin=found[1] is not None)
        run_id = _insert(connection, run.began, run.figures, run.path.name, run.format, sha256=run.sha256)
        connection.execute("INSERT INTO run_samples VALUES (?, ?)", (run_id, run.blob))
        connection.executemany(
            "INSERT INTO run_marks VALUES (?, ?, ?, ?, ?, 0)",
            [(run_id, n, mark.kind, mark.start_s, mark.end_s) for n, mark in enumerate(run.marks, start=1)],
        )
    return Kept(run_id, new=True)


def add_by_hand(
    journal: Journal,
    began: datetime,
    duration_s: float,
    distance_m: float | None = None,
    felt_effort: float | None = None,
    note: str = "",
    race: bool = False,
) -> Run:
    """Keep a run without a file. began: with an offset. Raises DawnbeatError for what can't be a run."""
    began = with_fixed_offset(began)
    if not 0 < duration_s <= LONGEST_RUN_S:
        raise DawnbeatError(f"a run of {duration_s:g} s can't be right: give its duration")
    if distance_m is not None and not 0 < distance_m <= _LONGEST_WAY_M:
        raise DawnbeatError(f"a distance of {distance_m:g} m can't be right: give it in metres, or leave it out")
    check_felt_effort(felt_effort)
    check_note(note)
    figures = figures_by_hand(round(duration_s, 3), distance_m)
    with journal.transaction("save the run") as connection:
        run_id = _insert(connection, began, figures, "", BY_HAND, felt_effort, note, race)
    return run(journal, run_id)


def runs(journal: Journal, first: date | None = None, last: date | None = None) -> list[Run]:
    """The runs from `first` to `last`, both included, by start; those in the bin are left out."""
    where, bounds = "binned_at IS NULL", []
    for sign, day in ((">=", first), ("<=", last)):
        if day is not None:
            where += f" AND local_date {sign} ?"
            bounds.append(day.isoformat())
    return _select(journal, where, bounds)


def run(journal: Journal, run_id: int) -> Run:
    """One run, in the bin or not; raises DawnbeatError if there is none."""
    found = _select(journal, "id = ?", [run_id])
    if not found:
        raise DawnbeatError(f"there is no run {run_id}: list them with `dawnbeat runs list`")
    return found[0]


def samples(journal: Journal, run_id: int) -> Samples:
    """The samples of a run; raises DawnbeatError for one entered by hand."""
    with journal_errors("read the run", journal.path):
        row = journal.connection.execute("SELECT samples FROM run_samples WHERE run_id = ?", (run_id,)).fetchone()
    if row is None:
        run(journal, run_id)
        raise DawnbeatError(f"run {run_id} was entered by hand and has no samples: choose another")
    return samples_of(row[0])


def marks(journal: Journal, run_id: int) -> list[Mark]:
    """What is marked in a run; the first is mark 1."""
    with journal_errors("read the run", journal.path):
        found = journal.connection.execute(
            "SELECT kind, start_s, end_s, overruled FROM run_marks WHERE run_id = ? ORDER BY position", (run_id,)
        )
        return [Mark(kind, start, end, bool(overruled)) for kind, start, end, overruled in found]


def overrule(journal: Journal, run_id: int, mark_number: int, overruled: bool = True) -> Run:
    """Believe a marked pulse after all, or no longer; the run's figures are worked out again.

    mark_number: its place in `marks`, from 1. Raises DawnbeatError where there is no pulse to believe.
    """
    present = marks(journal, run_id)
    if not 1 <= mark_number <= len(present):
        raise DawnbeatError(
            f"run {run_id} has {len(present)} marks, no number {mark_number}: see `dawnbeat runs show {run_id}`"
        )
    mark = present[mark_number - 1]
    if mark.kind not in CAN_BE_OVERRULED:
        raise DawnbeatError(
            f"mark {mark_number} is a {mark.kind}: no pulse was recorded there, so nothing can be overruled"
        )
    present[mark_number - 1] = replace(mark, overruled=overruled)
    figures = figures_of(samples(journal, run_id), present)
    values = _figure_values(figures)
    with journal.transaction("overrule the mark") as connection:
        connection.execute(
            "UPDATE run_marks SET overruled = ? WHERE run_id = ? AND position = ?", (overruled, run_id, mark_number)
        )
        connection.execute(
            f"UPDATE runs SET {', '.join(f'{name} = ?' for name in values)} WHERE id = ?", (*values.values(), run_id)
        )
    return run(journal, run_id)


def edit(
    journal: Journal,
    run_id: int,
    felt_effort: float | None = None,
    note: str | None = None,
    race: bool | None = None,
    clear_felt_effort: bool = False,
) -> Run:
    """Change what the runner adds; None leaves an item as it is."""
    present = run(journal, run_id)
    rating = None if clear_felt_effort else present.felt_effort if felt_effort is None else felt_effort
    values = (
        check_felt_effort(rating),
        check_note(present.note if note is None else note),
        present.race if race is None else race,
        run_id,
    )
    with journal.transaction("change the run") as connection:
        connection.execute("UPDATE runs SET felt_effort = ?, note = ?, race = ? WHERE id = ?", values)
    return run(journal, run_id)


def put_in_bin(journal: Journal, run_id: int) -> None:
    """Take a run out of everything; it can be brought back."""
    run(journal, run_id)
    with journal.transaction("put the run in the bin") as connection:
        connection.execute(
            "UPDATE runs SET binned_at = coalesce(binned_at, ?) WHERE id = ?", (datetime.now(UTC).isoformat(), run_id)
        )


def restore_from_bin(journal: Journal, run_id: int) -> Run:
    """Bring a run back from the bin, as it was."""
    run(journal, run_id)
    with journal.transaction("restore the run") as connection:
        connection.execute("UPDATE runs SET binned_at = NULL WHERE id = ?", (run_id,))
    return run(journal, run_id)


def binned(journal: Journal) -> list[Run]:
    """The runs in the bin, by start."""
    return _select(journal, "binned_at IS NOT NULL", [])


def empty_bin(journal: Journal, run_ids: Iterable[int]) -> int:
    """Delete these runs of the bin for good; returns how many. Ask before."""
    with journal.transaction("empty the bin") as connection:
        return sum(
            connection.execute("DELETE FROM runs WHERE id = ? AND binned_at IS NOT NULL", (run_id,)).rowcount
            for run_id in set(run_ids)
        )


def _insert(
    connection: sqlite3.Connection,
    began: datetime,
    figures: RunFigures,
    source: str,
    format_name: str,
    felt_effort: float | None = None,
    note: str = "",
    race: bool = False,
    sha256: str | None = None,
) -> int:
    values = {
        "local_date": began.date().isoformat(),
        "began": began.isoformat(),
        "began_utc_s": _utc_s(began),
        **_figure_values(figures),
        "felt_effort": felt_effort,
        "note": note,
        "race": race,
        # A file's name may hold bytes that are no text.
        "source": source.encode("utf-8", "replace").decode(),
        "format": format_name,
        "sha256": sha256,
        "saved_at": datetime.now(UTC).isoformat(),
    }
    inserted = connection.execute(
        f"INSERT INTO runs ({', '.join(values)}) VALUES ({', '.join('?' * len(values))})", tuple(values.values())
    )
    assert inserted.lastrowid is not None
    return inserted.lastrowid


def _figure_values(figures: RunFigures) -> dict[str, Any]:
    return {
        "elapsed_s": figures.elapsed_s,
        "duration_s": figures.duration_s,
        "measured_s": figures.measured_s,
        "missing_json": json.dumps(figures.missing_s),
        "distance_m": figures.distance_m,
        "mean_bpm": figures.mean_bpm,
        "peak_bpm": figures.peak_bpm,
        "drift_pct": figures.drift_pct,
        "ms_at_bpm": _packed(figures.ms_at_bpm),
    }


def _packed(ms_at_bpm: IntArray) -> bytes:
    """The lowest pulse (uint16), then uint32 milliseconds for it and each beat above, up to the highest."""
    used = np.flatnonzero(ms_at_bpm)
    if used.size == 0:
        return struct.pack("<H", 0)
    return struct.pack("<H", used[0]) + ms_at_bpm[used[0] : used[-1] + 1].astype("<u4").tobytes()


def _unpacked(blob: bytes) -> IntArray:
    low = int.from_bytes(blob[:2], "little")
    values = np.frombuffer(blob, "<u4", -1, 2)
    ms_at_bpm = np.zeros(BINS, dtype=np.int64)
    ms_at_bpm[low : low + values.size] = values
    return ms_at_bpm


def _select(journal: Journal, where: str, values: list[Any]) -> list[Run]:
    with journal_errors("read the runs", journal.path):
        found = journal.connection.execute(
            f"SELECT {_COLUMNS} FROM runs WHERE {where} ORDER BY began_utc_s, id", values
        ).fetchall()
    return [_run_from(row) for row in found]


def _run_from(row: tuple[Any, ...]) -> Run:
    figures = RunFigures(row[2], row[3], row[4], json.loads(row[5]), row[6], row[7], row[8], row[9], _unpacked(row[10]))
    return Run(row[0], datetime.fromisoformat(row[1]), figures, row[11], row[12], bool(row[13]), row[14], row[15])


def _utc_s(moment: datetime) -> int:
    return int(moment.timestamp())
