"""Changes of single runs that Ctrl+Z takes back: what the runner adds, the bin, and marks overruled."""

from __future__ import annotations

from collections.abc import Sequence

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import run_store
from dawnbeat.training.run import Run
from dawnbeat.ui.window.parts import shortcuts
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.formats import short_day


def rating_from(text: str) -> float | None:
    """A session rating as typed, None for nothing; raises DawnbeatError for what is no number."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError as error:
        raise DawnbeatError(f"a felt effort of {text[:40]!r} is no number: give 0 to 10") from error


def change(context: AppContext, run: Run, item: str, text: str) -> bool:
    """Change felt_effort, race or note as typed, undoable; says what is wrong and returns whether it was done."""
    try:
        rating = rating_from(text) if item == "felt_effort" else run.felt_effort
    except DawnbeatError as error:
        context.say(f"Not changed: {error}")
        return False
    note = text.strip() if item == "note" else run.note
    race = text.strip() == "yes" if item == "race" else run.race
    words = f"change {item.replace('_', ' ')} of the run of {short_day(run.local_date)}"
    return context.do(
        words,
        lambda: _put(context, run.id, rating, note, race),
        lambda: _put(context, run.id, run.felt_effort, run.note, run.race),
    )


def _put(context: AppContext, run_id: int, rating: float | None, note: str, race: bool) -> None:
    run_store.edit(context.journal, run_id, rating, note, race, clear_felt_effort=rating is None)


def to_bin(context: AppContext, runs: Sequence[Run]) -> None:
    """Put runs in the bin, undoable."""
    ids = [run.id for run in runs]
    if ids and context.do(f"bin {_named(runs)}", lambda: _bin(context, ids), lambda: _restore(context, ids)):
        context.say(f"In the bin: {_named(runs)}. {shortcuts.shown('Ctrl+Z')} brings it back.")


def from_bin(context: AppContext, runs: Sequence[Run]) -> None:
    """Bring runs back from the bin, undoable."""
    ids = [run.id for run in runs]
    if ids and context.do(f"restore {_named(runs)}", lambda: _restore(context, ids), lambda: _bin(context, ids)):
        context.say(f"Back among the runs: {_named(runs)}.")


def overrule(context: AppContext, run: Run, number: int, overruled: bool) -> bool:
    """Believe a marked pulse after all, or no longer, undoable. number: of the mark, from 1."""
    journal = context.journal
    words = f"{'overrule' if overruled else 'restore'} mark {number} of the run of {short_day(run.local_date)}"
    return context.do(
        words,
        lambda: run_store.overrule(journal, run.id, number, overruled),
        lambda: run_store.overrule(journal, run.id, number, not overruled),
    )


def _bin(context: AppContext, ids: Sequence[int]) -> None:
    for run_id in ids:
        run_store.put_in_bin(context.journal, run_id)


def _restore(context: AppContext, ids: Sequence[int]) -> None:
    for run_id in ids:
        run_store.restore_from_bin(context.journal, run_id)


def _named(runs: Sequence[Run]) -> str:
    if len(runs) == 1:
        return f"the run of {short_day(runs[0].local_date)}, {runs[0].began:%H:%M}"
    return f"{len(runs)} runs"
