"""The journal itself: dated readings in SQLite, their recordings beside them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from dawnbeat.journal import folder, rows
from dawnbeat.journal.columns import BY_NAME
from dawnbeat.journal.database import (
    bring_up_to_date,
    cant_write,
    check,
    connect,
    connect_for_reading,
    journal_errors,
    update,
    utc_now,
)
from dawnbeat.journal.folder import (
    DATABASE,
    Orphan,
    Step,
    clear_left_overs,
    data_folder,
    finish_restore,
    is_read_only,
    make_home,
    no_step,
)
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.morning import Circumstances, Context, Morning, Posture, StoredReading, posture_from
from dawnbeat.shared.reading import Analysis, Intervals

BUSY_S = 5.0


class Journal:
    """The dated readings of one runner. Use one object in one thread; several may have the same journal open.

    Every method raises DawnbeatError, with nothing half done, when the disk or the database refuses.
    """

    def __init__(
        self, home: Path, connection: sqlite3.Connection, migrated_after: list[Path], read_only: str = ""
    ) -> None:
        self.home = home
        self.connection = connection
        self.migrated_after = migrated_after
        self.read_only = read_only

    @classmethod
    def open(cls, home: Path | None = None, busy_s: float = BUSY_S) -> Self:
        """Open the journal in `home` (else DAWNBEAT_HOME, else the user's data folder), or begin a new one.

        busy_s: how long to wait for another program's lock. `migrated_after` of the result lists the backups
        made before an older journal was brought up to date. A journal that can't be written, as on a read-only medium
        or a full disk, is opened for reading; `read_only` of the result then says why, and what would change it
        raises DawnbeatError. Raises DawnbeatError when the journal is damaged, newer than this program, or locked.
        """
        home = data_folder(home)
        path = home / DATABASE
        with journal_errors("open the journal", path):
            if path.is_file() and is_read_only(home):
                return cls(home, connect_for_reading(path, busy_s), [], f"{one_line(path)} can't be written")
            try:
                connection, backups = cls._open_for_writing(home, path, busy_s)
            except (OSError, sqlite3.Error) as error:
                if not path.is_file() or not cant_write(error):
                    raise
                return cls(home, connect_for_reading(path, busy_s), [], one_line(error))
        return cls(home, connection, backups)

    @staticmethod
    def _open_for_writing(home: Path, path: Path, busy_s: float) -> tuple[sqlite3.Connection, list[Path]]:
        make_home(home)
        finish_restore(home)
        clear_left_overs(home)
        connection = connect(path, busy_s)
        try:
            check(connection, path)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            return connection, bring_up_to_date(connection, path)
        except BaseException:
            connection.close()
            raise

    def close(self) -> None:
        """Close the database; the object is not usable afterwards."""
        self.connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def path(self) -> Path:
        """The database file."""
        return self.home / DATABASE

    @contextmanager
    def transaction(self, doing: str) -> Iterator[sqlite3.Connection]:
        """One transaction, written whole or not at all; `doing` completes "can't ..." in the message."""
        if self.read_only:
            raise DawnbeatError(
                f"can't {doing}: the journal was opened for reading only ({self.read_only}); make room, or move it to "
                "where it can be written"
            )
        with journal_errors(doing, self.path):
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield self.connection
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:
                    self.connection.execute("ROLLBACK")
                raise

    # Saving

    def new_recording_folder(self, began: datetime) -> Path:
        """An empty folder inside the journal to record into, so that saving needs no copy."""
        with journal_errors("make a folder for the recording", self.home):
            return folder.new_recording_folder(self.home, began)

    def save(
        self, taken: Circumstances, analysis: Analysis, recording: Path | None = None, step: Step = no_step
    ) -> StoredReading:
        """Save one reading, usable or not; the recording is complete and on the disk before the row appears.

        recording: a folder or file. One from `new_recording_folder` stays in place; any other is copied.
        Raises DawnbeatError when it can't be saved; a recording stays where it is, and one inside the
        journal's folder is offered again by `orphans`.
        """
        kept = None
        if recording is not None:
            with journal_errors("save the recording", recording):
                kept = folder.keep_recording(self.home, recording, taken.began, step)
            if kept in self._known_recordings():
                raise DawnbeatError(f"the recording {kept} belongs to a saved reading already: nothing was added")
        reading = rows.reading_of_analysis(taken, analysis, kept)
        with self.transaction("save the reading") as connection:
            step("transaction begun")
            reading_id = rows.insert_reading(connection, reading, utc_now())
            step("row written")
            rows.write_intervals(connection, reading_id, analysis.intervals)
            step("intervals written")
        step("committed")
        return self.reading(reading_id)

    def orphans(self) -> list[Orphan]:
        """Recordings in the journal's folder without a reading; `save` with the path of one takes it in.

        Not meaningful while another program is recording into the folder.
        """
        with journal_errors("look for recordings", self.home):
            return folder.orphans(self.home, self._known_recordings())

    def clock_notice(self, began: datetime) -> str | None:
        """A line for a reading dated before one saved earlier, as after a changed clock; else None."""
        with journal_errors("read the journal", self.path):
            row = self.connection.execute("SELECT began FROM readings ORDER BY id DESC LIMIT 1").fetchone()
        if row is None or datetime.fromisoformat(row["began"]) <= began:
            return None
        return (
            f"This reading is dated {began:%Y-%m-%d %H:%M}, before the one saved last "
            f"({row['began'][:16].replace('T', ' ')}): check the clock. Both are saved."
        )

    # Looking up

    def reading(self, reading_id: int) -> StoredReading:
        """One reading by its id, in the bin or not; raises DawnbeatError if there is none."""
        found = self._readings("WHERE r.local_date = (SELECT local_date FROM readings WHERE id = ?)", (reading_id,))
        for each in found:
            if each.id == reading_id:
                return each
        raise DawnbeatError(f"there is no reading {reading_id}: list them with `dawnbeat mornings`")

    def readings(self, first: date | None = None, last: date | None = None) -> list[StoredReading]:
        """Readings outside the bin from `first` to `last`, both included, by day and order of saving."""
        return self._readings(
            "WHERE r.binned_at IS NULL AND r.local_date BETWEEN ? AND ?",
            ((first or date.min).isoformat(), (last or date.max).isoformat()),
        )

    def day(self, day: date) -> list[StoredReading]:
        """The readings of one day outside the bin, in the order of saving."""
        return self.readings(day, day)

    def counting(self, day: date) -> StoredReading:
        """The reading that counts on a day, else its last; raises DawnbeatError if the day has none."""
        found = self.day(day)
        if not found:
            raise DawnbeatError(f"there is no reading on {day}: list the days with `dawnbeat mornings`")
        return next((each for each in found if each.counts), found[-1])

    def intervals(self, reading_id: int) -> Intervals:
        """The intervals of one reading; empty for a reading that came from a CSV file."""
        with journal_errors("read the journal", self.path):
            return rows.read_intervals(self.connection, reading_id)

    def mornings(self, first: date | None = None, last: date | None = None) -> list[Morning]:
        """One Morning a day, by date: the reading that counts, else the last one that is not usable."""
        found = self.readings(first, last)
        # Illness is the runner's, whichever reading of the day it was noted with.
        ill = {each.local_date for each in found if each.context.ill}
        well = {each.local_date for each in found if each.context.well_again}
        mornings = (rows.morning_of(each) for each in rows.one_a_day(found))
        return [
            replace(each, ill=True if each.date in ill else each.ill, well_again=each.date in well or None)
            for each in mornings
        ]

    # Changing

    def edit_context(self, reading_id: int, context: Context) -> StoredReading:
        """Replace what the runner added to a reading."""
        self.reading(reading_id)
        with self.transaction("change the note") as connection:
            rows.write_context(connection, reading_id, context)
        return self.reading(reading_id)

    def set_posture(self, reading_id: int, posture: Posture) -> StoredReading:
        """Correct the posture of a reading."""
        return self._set("change the posture", reading_id, posture=posture_from(posture))

    def keep_answer(self, reading_id: int, answer: Mapping[str, Any]) -> StoredReading:
        """Keep what the runner was told after a reading and what it rested on; replaces what was kept before.

        answer: plain values that JSON can hold.
        """
        return self._set("save the answer", reading_id, answer=BY_NAME["answer"].kind.stored(answer))

    def pick(self, reading_id: int) -> StoredReading:
        """Let this reading count on its day instead of the first usable one.

        It must be usable; one of which only the pulse is will do where the day has no other.
        """
        reading = self.reading(reading_id)
        if reading.binned_at is not None:
            raise DawnbeatError(f"reading {reading_id} is in the bin: bring it back first")
        verdict = reading.verdict
        if not verdict.usable:
            others = any(each.verdict.usable for each in self.day(reading.local_date))
            if others or not verdict.pulse_usable:
                raise DawnbeatError(f"reading {reading_id} is not usable, so it can't count: pick another of that day")
        with self.transaction("pick the reading") as connection:
            connection.execute(
                "UPDATE readings SET picked = (id = ?) WHERE local_date = ?",
                (reading_id, reading.local_date.isoformat()),
            )
        return self.reading(reading_id)

    # The bin

    def put_in_bin(self, reading_id: int) -> None:
        """Take a reading out of everything; it can be brought back until the bin is emptied."""
        if self.reading(reading_id).binned_at is None:
            self._set("put the reading in the bin", reading_id, binned_at=utc_now())

    def bin(self) -> list[StoredReading]:
        """The readings in the bin, by day."""
        return self._readings("WHERE r.binned_at IS NOT NULL", ())

    def bring_back(self, reading_id: int) -> StoredReading:
        """Bring a reading back from the bin, as it was."""
        return self._set("bring the reading back", reading_id, binned_at=None)

    def empty_bin(self, reading_ids: Iterable[int]) -> int:
        """Delete these readings of the bin and their recordings for good; returns how many. Ask before.

        Only the readings named are deleted, so that one binned after the question stays.
        """
        wanted = set(reading_ids)
        going = [reading for reading in self.bin() if reading.id in wanted]
        with self.transaction("empty the bin") as connection:
            connection.executemany(
                "DELETE FROM readings WHERE id = ? AND binned_at IS NOT NULL",
                [(reading.id,) for reading in going],
            )
        still_named = self._known_recordings()
        with journal_errors("delete the recordings of the emptied bin", self.home):
            for reading in going:
                if reading.recording is not None and reading.recording not in still_named:
                    folder.remove_recording(self.home, reading.recording)
        return len(going)

    def _set(self, doing: str, reading_id: int, **values: Any) -> StoredReading:
        """Change columns of a reading; raises DawnbeatError if there is none."""
        self.reading(reading_id)
        with self.transaction(doing) as connection:
            update(connection, "readings", reading_id, values)
        return self.reading(reading_id)

    def _readings(self, where: str, values: tuple[Any, ...]) -> list[StoredReading]:
        with journal_errors("read the journal", self.path):
            return rows.readings(self.connection, where, values)

    def _known_recordings(self) -> set[str]:
        with journal_errors("read the journal", self.path):
            found = self.connection.execute("SELECT recording FROM readings WHERE recording IS NOT NULL")
            return {row["recording"] for row in found}
