"""Maxima, threshold pulses and zone sets as they are at a moment, so that an undo puts all of them back at once."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

from dawnbeat.journal.faults import plain_errors
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError

_TABLES = ("maxima", "thresholds", "zone_sets")


@dataclass(frozen=True)
class ZoneSnapshot:
    """The rows of each table, by id."""

    rows: tuple[tuple[tuple[Any, ...], ...], ...]


def snapshot(journal: Journal) -> ZoneSnapshot:
    """What zones rest on, as it stands now."""
    with plain_errors("read the journal", journal.path):
        return _rows(journal.connection)


def restore(journal: Journal, wanted: ZoneSnapshot, expected: ZoneSnapshot) -> None:
    """Put everything back as it was in `wanted`, ids included.

    expected: what must be there now. Raises DawnbeatError, with nothing changed, where it is not, as when
    another program has added a maximum meanwhile.
    """
    with journal.transaction("put the zones back") as connection:
        if _rows(connection) != expected:
            raise DawnbeatError("the zones have changed elsewhere since then: look at them again; nothing was undone")
        for table, rows in zip(_TABLES, wanted.rows, strict=True):
            connection.execute(f"DELETE FROM {table}")
            if rows:
                connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)


def _rows(connection: sqlite3.Connection) -> ZoneSnapshot:
    return ZoneSnapshot(
        tuple(tuple(map(tuple, connection.execute(f"SELECT * FROM {table} ORDER BY id"))) for table in _TABLES)
    )
