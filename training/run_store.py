"""The runs of the journal: kept in its database, so that its backup holds them too."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from dawnbeat.journal.database import insert, journal_errors, update, utc_now
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import CLOCKS_APART, with_fixed_offset
from dawnbeat.training.run import (
    CAN_BE_OVERRULED,
    FASTEST_OVER_M,
    FASTEST_RUN_M_PER_S,
    LONGEST_RUN_S,
    Mark,
    PreparedRun,
    Run,
    RunFigures,
    RunNote,
    Samples,
    Sport,
    Talk,
    check_felt_effort,
    check_note,
    packed_minutes,
    packed_pulses,
    samples_of,
    unpacked_minutes,
    unpacked_pulses,
)
from dawnbeat.training.run_figures import figures_by_hand, figures_of
from dawnbeat.training.run_rows import LONGEST_WAY_M

SAME_START_S = 10
# Two runs of one runner can't overlap; clocks of two devices differ by less than this.
OVERLAP_S = 60
RICHER_BY_S = 60.0
BY_HAND = "by hand"
# Figures that are stored as they are.
_BARE_FIGURES = ("elapsed_s", "duration_s", "measured_s", "distance_m", "mean_bpm", "peak_bpm", "drift_pct")
_COLUMNS = ", ".join(
    (
        *("id", "began", *_BARE_FIGURES, "missing_json", "ms_at_bpm", "minutes"),
        *("felt_effort", "note", "race", "source", "format", "sport", "counts", "notes_json", "talk"),
    )
)


@dataclass(frozen=True)
class Kept:
    """What became of a run of a file. run_id: the run that holds it; new: whether it was added just now.

    richer: it is of the same time as that run and longer, or tells more. replaced: it took that run's place.
    """

    run_id: int
    new: bool
    in_bin: bool = False
    richer: bool = False
    replaced: bool = False


def keep(journal: Journal, run: PreparedRun, replace_poorer: bool = False) -> Kept:
    """Add a prepared run in one transaction, unless its content, its start or its time is here already.

    replace_poorer: where the run here is shorter or tells less, this one takes its place; what the runner added to it
    stays.
    """
    begin = _utc_s(run.began)
    with journal.transaction("save the run") as connection:
        found = connection.execute(
            "SELECT id, binned_at IS NOT NULL, sha256 IS ? FROM runs WHERE sha256 IS ? ORDER BY 3 DESC LIMIT 1",
            (run.sha256, run.sha256),
        ).fetchone() or _of_the_same_time(connection, begin, run.figures.elapsed_s)
        if found is not None:
            run_id, in_bin, same = found
            here = connection.execute(f"SELECT {_COLUMNS} FROM runs WHERE id = ?", (run_id,)).fetchone()
            richer = not same and not in_bin and _richer(run.figures, _run_from(here).figures)
            if not (richer and replace_poorer):
                return Kept(run_id, new=False, in_bin=bool(in_bin), richer=richer)
            values = {**_moment_values(run.began), **_figure_values(run.figures), **_file_values(run)}
            del values["sport"], values["counts"]
            update(connection, "runs", run_id, values)
            connection.execute("DELETE FROM run_samples WHERE run_id = ?", (run_id,))
            connection.execute("DELETE FROM run_marks WHERE run_id = ?", (run_id,))
            _insert_samples(connection, run_id, run)
            return Kept(run_id, new=False, replaced=True)
        run_id = _insert(connection, run.began, run.figures, _file_values(run))
        _insert_samples(connection, run_id, run)
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
    if distance_m is not None and not 0 < distance_m <= LONGEST_WAY_M:
        raise DawnbeatError(f"a distance of {distance_m:g} m can't be right: give it in metres, or leave it out")
    if distance_m is not None and distance_m > max(FASTEST_OVER_M, FASTEST_RUN_M_PER_S * duration_s):
        raise DawnbeatError(
            f"{distance_m / 1000:g} km in {duration_s / 60:.0f} minutes is faster than anyone runs: check both"
        )
    if began + timedelta(seconds=duration_s) > datetime.now(UTC) + CLOCKS_APART:
        raise DawnbeatError("the run would end in the future: give when it began, and how long it was")
    values = {
        "felt_effort": check_felt_effort(felt_effort),
        "note": check_note(note),
        "race": race,
        "source": "",
        "format": BY_HAND,
    }
    figures = figures_by_hand(round(duration_s, 3), distance_m)
    with journal.transaction("save the run") as connection:
        here = _of_the_same_time(connection, _utc_s(began), duration_s)
        if here is not None and not here[1]:
            raise DawnbeatError(f"run {here[0]} is of that time already: change it, or put it in the bin first")
        run_id = _insert(connection, began, figures, values)
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
    return samples_of(row["samples"])


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
    with journal.transaction("overrule the mark") as connection:
        connection.execute(
            "UPDATE run_marks SET overruled = ? WHERE run_id = ? AND position = ?", (overruled, run_id, mark_number)
        )
        update(connection, "runs", run_id, _figure_values(figures))
    return run(journal, run_id)


def edit(
    journal: Journal,
    run_id: int,
    felt_effort: float | None = None,
    note: str | None = None,
    race: bool | None = None,
    sport: Sport | None = None,
    counts: bool | None = None,
    talk: Talk | None = None,
) -> Run:
    """Change what the runner adds; None leaves an item as it is. A sport decides anew whether the run counts."""
    if counts is None and sport is not None:
        counts = sport == "running"
    given = {"felt_effort": felt_effort, "note": note, "race": race, "sport": sport, "counts": counts, "talk": talk}
    return set_items(journal, run_id, **{name: value for name, value in given.items() if value is not None})


def set_items(journal: Journal, run_id: int, **items: Any) -> Run:
    """Set items that the runner adds, by their names in Run, None included; raises DawnbeatError for what can't be."""
    changed = replace(run(journal, run_id), **items)
    values = {
        "felt_effort": check_felt_effort(changed.felt_effort),
        "note": check_note(changed.note),
        **{name: getattr(changed, name) for name in ("race", "sport", "counts", "talk")},
    }
    with journal.transaction("change the run") as connection:
        update(connection, "runs", run_id, values)
    return run(journal, run_id)


def put_in_bin(journal: Journal, run_id: int) -> None:
    """Take a run out of everything; it can be brought back."""
    run(journal, run_id)
    with journal.transaction("put the run in the bin") as connection:
        connection.execute("UPDATE runs SET binned_at = coalesce(binned_at, ?) WHERE id = ?", (utc_now(), run_id))


def restore_from_bin(journal: Journal, run_id: int) -> Run:
    """Bring a run back from the bin, as it was."""
    run(journal, run_id)
    with journal.transaction("restore the run") as connection:
        update(connection, "runs", run_id, {"binned_at": None})
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


def _of_the_same_time(connection: sqlite3.Connection, begin_s: int, elapsed_s: float) -> tuple[int, int, int] | None:
    """The run that begins within seconds of this one or overlaps it: its id, whether it is binned, and 0."""
    end_s = begin_s + elapsed_s
    # Half of a run shorter than two minutes is overlap enough.
    enough_s = min(OVERLAP_S, elapsed_s / 2)
    found: tuple[int, int, int] | None = connection.execute(
        "SELECT id, binned_at IS NOT NULL, 0 FROM runs WHERE abs(began_utc_s - ?) <= ? OR (began_utc_s BETWEEN ? AND ? "
        "AND min(began_utc_s + elapsed_s, ?) - max(began_utc_s, ?) >= min(?, elapsed_s / 2)) "
        "ORDER BY binned_at IS NOT NULL, abs(began_utc_s - ?) LIMIT 1",
        (begin_s, SAME_START_S, begin_s - LONGEST_RUN_S, int(end_s), end_s, begin_s, enough_s, begin_s),
    ).fetchone()
    return found


def _richer(new: RunFigures, here: RunFigures) -> bool:
    """Whether a file tells more of the same run and nothing less: longer, more of it measured, or its distance."""
    if new.measured_s < here.measured_s - 1 or new.duration_s < here.duration_s - RICHER_BY_S:
        return False
    if here.distance_m is not None and new.distance_m is None:
        return False
    return (
        new.measured_s > here.measured_s + RICHER_BY_S
        or new.duration_s > here.duration_s + RICHER_BY_S
        or (here.distance_m is None and new.distance_m is not None)
    )


def _insert(connection: sqlite3.Connection, began: datetime, figures: RunFigures, more: dict[str, Any]) -> int:
    values = {
        **_moment_values(began),
        **_figure_values(figures),
        "felt_effort": None,
        "note": "",
        "race": False,
        "sport": "running",
        "counts": True,
        "notes_json": "[]",
        "saved_at": utc_now(),
        **more,
    }
    return insert(connection, "runs", values)


def _insert_samples(connection: sqlite3.Connection, run_id: int, run: PreparedRun) -> None:
    connection.execute("INSERT INTO run_samples VALUES (?, ?)", (run_id, run.blob))
    connection.executemany(
        "INSERT INTO run_marks VALUES (?, ?, ?, ?, ?, 0)",
        [(run_id, n, mark.kind, mark.start_s, mark.end_s) for n, mark in enumerate(run.marks, start=1)],
    )


def _moment_values(began: datetime) -> dict[str, Any]:
    return {"local_date": began.date().isoformat(), "began": began.isoformat(), "began_utc_s": _utc_s(began)}


def _file_values(run: PreparedRun) -> dict[str, Any]:
    return {
        # A file's name may hold bytes that are no text.
        "source": run.name.encode("utf-8", "replace").decode(),
        "format": run.format,
        "sha256": run.sha256,
        "sport": run.sport,
        "counts": run.counts,
        "notes_json": json.dumps([[note.code, note.value] for note in run.notes]),
    }


def _figure_values(figures: RunFigures) -> dict[str, Any]:
    return {
        **{name: getattr(figures, name) for name in _BARE_FIGURES},
        "missing_json": json.dumps(figures.missing_s),
        "ms_at_bpm": packed_pulses(figures.ms_at_bpm),
        "minutes": packed_minutes(figures.minutes),
    }


def _select(journal: Journal, where: str, values: list[Any]) -> list[Run]:
    with journal_errors("read the runs", journal.path):
        found = journal.connection.execute(
            f"SELECT {_COLUMNS} FROM runs WHERE {where} ORDER BY began_utc_s, id", values
        ).fetchall()
    return [_run_from(row) for row in found]


def _run_from(told: sqlite3.Row) -> Run:
    figures = RunFigures(
        missing_s=json.loads(told["missing_json"]),
        ms_at_bpm=unpacked_pulses(told["ms_at_bpm"]),
        minutes=unpacked_minutes(told["minutes"]),
        **{name: told[name] for name in _BARE_FIGURES},
    )
    return Run(
        id=told["id"],
        began=datetime.fromisoformat(told["began"]),
        figures=figures,
        race=bool(told["race"]),
        counts=bool(told["counts"]),
        notes=tuple(RunNote(code, value) for code, value in json.loads(told["notes_json"])),
        **{name: told[name] for name in ("felt_effort", "note", "source", "format", "sport", "talk")},
    )


def _utc_s(moment: datetime) -> int:
    return int(moment.timestamp())
