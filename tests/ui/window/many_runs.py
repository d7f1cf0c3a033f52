"""Years of runs out of a few weeks of them, for tests and benchmarks of long journals."""

from __future__ import annotations

from dawnbeat.journal.store import Journal

_DAYS = 84


def fill_up_with_runs(journal: Journal, wanted: int) -> int:
    """Copy the journal's runs, without their samples, into the past until there are at least so many."""
    columns = [row[1] for row in journal.connection.execute("PRAGMA table_info(runs)")]
    own = [name for name in columns if name not in ("id", "sha256", "local_date", "began", "began_utc_s")]
    present, last = journal.connection.execute("SELECT count(*), max(id) FROM runs").fetchone()
    copies = -(-(wanted - present) // present)
    for back in range(1, copies + 1):
        days = _DAYS * back
        moved = f"strftime('%Y-%m-%dT%H:%M:%S', substr(began, 1, 19), '-{days} days') || substr(began, 20)"
        journal.connection.execute(
            f"INSERT INTO runs (local_date, began, began_utc_s, {', '.join(own)}) SELECT "
            f"date(local_date, '-{days} days'), {moved}, began_utc_s - {86_400 * days}, {', '.join(own)} "
            f"FROM runs WHERE id <= {last}"
        )
    return present * (copies + 1)
