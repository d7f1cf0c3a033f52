"""Resting pulse for training: from the mornings or from a count by hand, whichever is newer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from dawnbeat.journal.database import insert, journal_errors, utc_now
from dawnbeat.journal.ranges import RangeSettings, counts, in_usual_posture
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Morning, Posture
from dawnbeat.shared.wording import span

FEWEST = 3
_WEEK_DAYS = 7
# Six weeks: a resting pulse moves slowly. Common practice, no source.
_WINDOWS = RangeSettings(history_days=35)
OLDEST_DAYS = _WINDOWS.reach_days
# 20 to 240 bpm: outside, the count itself is doubtful.
_COUNT_LOW, _COUNT_HIGH = 10, 120

Source = Literal["mornings", "hand count"]


@dataclass(frozen=True)
class RestingPulse:
    """A resting pulse with what it rests on. posture: of the mornings; None for a count by hand."""

    bpm: float
    source: Source
    dates: tuple[date, ...]
    posture: Posture | None = None

    @property
    def label(self) -> str:
        """One line that says where the figure comes from."""
        where = f"{len(self.dates)} mornings {self.posture}" if self.posture else f"{len(self.dates)} counts by hand"
        return f"{self.bpm:.0f} bpm, mean of {where}, {span(self.dates[0], self.dates[-1])}"


@dataclass(frozen=True)
class HandCount:
    """Beats counted in 30 seconds on a morning, before getting up."""

    date: date
    beats_in_30_s: int

    def __post_init__(self) -> None:
        beats = self.beats_in_30_s
        if type(beats) is not int or not _COUNT_LOW <= beats <= _COUNT_HIGH:
            raise DawnbeatError(
                f"{beats!r} beats in 30 seconds: give the whole number counted, {_COUNT_LOW} to {_COUNT_HIGH}"
            )


def from_mornings(mornings: Iterable[Morning], today: date) -> RestingPulse | None:
    """Mean of the usable mornings of the last 7 days, or of the last three of six weeks where that week
    has fewer.

    Only mornings in the runner's usual posture; None for fewer than three.
    """
    recent = [each for each in mornings if today - timedelta(days=OLDEST_DAYS) < each.date <= today]
    alike = in_usual_posture(recent, today, _WINDOWS)
    found = sorted(
        (each.date, each.resting_pulse_bpm)
        for each in alike
        if counts(each, "resting_pulse_bpm") and each.resting_pulse_bpm is not None
    )
    if len(found) < FEWEST:
        return None
    in_week = sum(day > today - timedelta(days=_WEEK_DAYS) for day, _ in found)
    used = found[-max(FEWEST, in_week) :]
    mean_bpm = sum(bpm for _, bpm in used) / len(used)
    return RestingPulse(mean_bpm, "mornings", tuple(day for day, _ in used), alike[0].posture)


def from_hand_counts(counts: Sequence[HandCount], today: date) -> RestingPulse | None:
    """Beats in 30 s doubled, mean of the last three mornings counted (common practice, no source).

    The last count of a day holds; None for fewer than three days within six weeks.
    """
    by_day = {each.date: each.beats_in_30_s for each in counts if each.date <= today}
    used = sorted(by_day)[-FEWEST:]
    if len(used) < FEWEST or (used[-1] - used[0]).days >= OLDEST_DAYS:
        return None
    return RestingPulse(2.0 * sum(by_day[day] for day in used) / FEWEST, "hand count", tuple(used))


def resting_pulse(journal: Journal, today: date) -> RestingPulse | None:
    """The newer of the two, by the last date that each rests on; mornings where both are of the same day."""
    mornings = journal.mornings(today - timedelta(days=OLDEST_DAYS), today)
    found = [from_mornings(mornings, today), from_hand_counts(hand_counts(journal), today)]
    known = [each for each in found if each is not None]
    return max(known, key=lambda each: each.dates[-1]) if known else None


def add_hand_count(journal: Journal, day: date, beats_in_30_s: int) -> int:
    """Keep a count by hand and return its number; raises DawnbeatError for one that can't be a resting count."""
    count = HandCount(day, beats_in_30_s)
    with journal.transaction("save the count") as connection:
        values = {"local_date": day.isoformat(), "beats_in_30_s": count.beats_in_30_s, "saved_at": utc_now()}
        return insert(connection, "hand_counts", values)


def remove_hand_count(journal: Journal, count_id: int) -> None:
    """Delete a count kept by mistake."""
    with journal.transaction("remove the count") as connection:
        connection.execute("DELETE FROM hand_counts WHERE id = ?", (count_id,))


def hand_counts(journal: Journal) -> list[HandCount]:
    """All counts by hand, in the order of saving."""
    with journal_errors("read the journal", journal.path):
        found = journal.connection.execute("SELECT local_date, beats_in_30_s FROM hand_counts ORDER BY id")
        return [HandCount(date.fromisoformat(day), beats) for day, beats in found]
