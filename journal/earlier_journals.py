"""Journals of the time before the first release, brought to the first schema."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from typing import Any

from dawnbeat.journal.columns import COLUMNS


def convert(connection: sqlite3.Connection, first: Sequence[str]) -> None:
    """Bring a journal of the time before the first release to the first schema; nothing in it is lost.

    Columns and tables that it lacks are added. Reasons were sentences then: each becomes a finding that keeps it, in
    the readings and in what edits by hand would bring back.
    """
    connection.execute("ALTER TABLE readings RENAME COLUMN reasons_json TO findings")
    model = sqlite3.connect(":memory:")
    try:
        for statement in first:
            model.execute(statement)
        wanted = model.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
        for kind, name, sql in wanted:
            if name not in there:
                connection.execute(sql)
            elif kind == "table" and not name.startswith("sqlite_"):
                has = {row[1] for row in connection.execute(f"PRAGMA table_info({name})")}
                for definition in _definitions(model, name):
                    if definition.split()[0] not in has:
                        connection.execute(f"ALTER TABLE {name} ADD COLUMN {definition}")
    finally:
        model.close()
    for reading_id, usable, reasons in connection.execute("SELECT id, usable, findings FROM readings").fetchall():
        connection.execute(
            "UPDATE readings SET findings = :findings, pulse_usable = :pulse_usable, irregular = :irregular"
            " WHERE id = :id",
            {"id": reading_id, **_verdict_of(usable, reasons)},
        )
    for edit_id, before_json in connection.execute("SELECT id, before_json FROM hand_edits").fetchall():
        before = json.loads(before_json)
        before |= _verdict_of(before["usable"], before.pop("reasons_json"))
        connection.execute("UPDATE hand_edits SET before_json = ? WHERE id = ?", (json.dumps(before), edit_id))


def _verdict_of(usable: int, reasons_json: str) -> dict[str, Any]:
    """The columns of a verdict that was stored as sentences, or as one object.

    A sentence becomes the code of a finding, since a code that nobody knows is shown as it stands.
    """
    told = json.loads(reasons_json)
    if isinstance(told, list):
        # Before there were two verdicts, what was usable was so in both.
        told = {
            "pulse_usable": usable,
            "irregular": False,
            "findings": [{"code": sentence, "values": {}} for sentence in told],
        }
    return {
        "pulse_usable": int(told["pulse_usable"]),
        "irregular": int(told["irregular"]),
        "findings": json.dumps(told["findings"]),
    }


def _definitions(model: sqlite3.Connection, table: str) -> list[str]:
    """Each column of a table as ALTER TABLE ADD COLUMN takes it."""
    told = {each.sql_name: each.definition for each in COLUMNS} if table in ("readings", "context") else {}
    found = []
    for _, name, kind, not_null, default, _ in model.execute(f"PRAGMA table_info({table})"):
        plain = f"{name} {kind}{' NOT NULL' if not_null else ''}{f' DEFAULT {default}' if default is not None else ''}"
        found.append(told.get(name, plain))
    return found
