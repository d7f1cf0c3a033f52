"""A reading as the journal keeps it: when, how, what it said, and what the runner adds."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timezone
from typing import Literal, get_args

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import Metrics, Verdict

Posture = Literal["lying", "sitting", "standing"]
POSTURES: tuple[Posture, ...] = get_args(Posture)

RATINGS = ("sleep", "stress", "fatigue", "soreness")
RATING_LOW, RATING_HIGH = 1, 7
TEXT_LIMIT = 20_000


def posture_from(text: str) -> Posture:
    """The posture by its name; raises DawnbeatError for any other word."""
    for posture in POSTURES:
        if text == posture:
            return posture
    raise DawnbeatError(f"posture {text!r} is unknown: say {', '.join(POSTURES[:-1])} or {POSTURES[-1]}")


@dataclass(frozen=True)
class Context:
    """What the runner adds to a morning; every item is optional (None).

    sleep, stress, fatigue, soreness: rated 1 (very, very good or low) to 7 (very, very bad or high), the four
        items of the Hooper index (Hooper & Mackinnon 1995, Sports Med 20:321-327).
    hours_slept: 0 to 24. ill: feeling ill this morning. alcohol: any the evening before.
    yesterday_run: yesterday's run in plain words. note: anything else. An empty text is stored as None.

    Raises DawnbeatError when a value has the wrong type or lies outside its range.
    """

    sleep: int | None = None
    stress: int | None = None
    fatigue: int | None = None
    soreness: int | None = None
    hours_slept: float | None = None
    ill: bool | None = None
    alcohol: bool | None = None
    yesterday_run: str | None = None
    note: str | None = None

    def __post_init__(self) -> None:
        for name in RATINGS:
            rating = getattr(self, name)
            if rating is None:
                continue
            if type(rating) is not int or not RATING_LOW <= rating <= RATING_HIGH:
                raise DawnbeatError(
                    f"{name} is {rating!r}: rate it with a whole number from {RATING_LOW} to {RATING_HIGH}"
                )
        hours = self.hours_slept
        if hours is not None:
            if isinstance(hours, bool) or not isinstance(hours, int | float) or not 0 <= hours <= 24:
                raise DawnbeatError(f"hours_slept is {hours!r}: give a number from 0 to 24")
            object.__setattr__(self, "hours_slept", float(hours))
        for name in ("ill", "alcohol"):
            if getattr(self, name) not in (None, True, False):
                raise DawnbeatError(f"{name} is {getattr(self, name)!r}: say yes or no")
        for name in ("yesterday_run", "note"):
            text = getattr(self, name)
            if text is None:
                continue
            if not text:
                object.__setattr__(self, name, None)
            elif len(text) > TEXT_LIMIT:
                raise DawnbeatError(f"the text of {name} is too long: keep it under {TEXT_LIMIT} characters")
            elif not text.isascii() and any("\ud800" <= letter <= "\udfff" for letter in text):
                raise DawnbeatError(f"the text of {name} is not valid Unicode: type it again")

    @property
    def hooper_index(self) -> int | None:
        """Sum of the four ratings, 4 to 28, as published; None unless all four are given."""
        ratings = [getattr(self, name) for name in RATINGS]
        return None if None in ratings else sum(ratings)

    @property
    def is_empty(self) -> bool:
        """True where the runner added nothing."""
        return all(getattr(self, item.name) is None for item in dataclasses.fields(self))


@dataclass(frozen=True)
class Circumstances:
    """How a reading was taken.

    began: date and time with the offset of the place where it was taken. camera: its name in plain words.
    Raises DawnbeatError when `began` has no offset or the posture is unknown.
    """

    began: datetime
    posture: Posture
    camera: str
    context: Context = Context()

    def __post_init__(self) -> None:
        object.__setattr__(self, "began", with_fixed_offset(self.began))
        posture_from(self.posture)


def with_fixed_offset(moment: datetime) -> datetime:
    """The same moment with its offset fixed, so that later rules of a time zone can't move it.

    Raises DawnbeatError when the moment has no offset.
    """
    offset = moment.utcoffset()
    if offset is None:
        raise DawnbeatError(f"the time {moment.isoformat()} has no offset: add one, such as +01:00")
    return moment.replace(tzinfo=timezone(offset), fold=0)


@dataclass(frozen=True)
class StoredReading:
    """One reading of the journal.

    id: its number in this journal, in the order of saving. uid: its name across journals.
    began: with the offset of the place; its local date is the day that the reading belongs to.
    intervals95: 95 % intervals by the names of Metrics. timing_error_ms: of one beat time.
    version, settings_json: what analysed it. recording: path relative to the journal's folder, or None.
    picked: the runner chose it for its day. counts: it is the one that counts on its day.
    binned_at: when it went to the bin (UTC), or None.
    """

    id: int
    uid: str
    began: datetime
    duration_s: float
    posture: Posture
    camera: str
    frame_rate_hz: float | None
    channel: str | None
    metrics: Metrics
    intervals95: Mapping[str, tuple[float, float]]
    timing_error_ms: float | None
    verdict: Verdict
    version: str
    settings_json: str
    recording: str | None
    picked: bool = False
    counts: bool = False
    binned_at: datetime | None = None
    context: Context = field(default_factory=Context)

    @property
    def local_date(self) -> date:
        """The day of the reading, by the clock of the place where it was taken."""
        return self.began.date()

    @property
    def hour(self) -> float:
        """Hour of the day by the clock of the place, 0 to 24, with minutes as a fraction."""
        return self.began.hour + self.began.minute / 60 + self.began.second / 3600


Origin = Literal["camera", "strap"]
ORIGINS: tuple[Origin, ...] = get_args(Origin)


@dataclass(frozen=True)
class Morning:
    """What the usual range and the answer need to know of one day: the reading that counts, or one that doesn't.

    ln_rmssd: natural logarithm of RMSSD in ms. resting_pulse_bpm: mean heart rate of the reading.
    hour: local hour of the day. usable: the variability may be used. pulse_usable: the mean pulse may be; None
    says the same as `usable`. irregular: the pulse kept coming irregularly. irregular_share: share of the intervals
    left out as irregular beats, 0 to 1, where it was counted. duration_s: length of the reading where known.
    ln_rmssd_error, pulse_error_bpm: standard errors of the reading itself, where known. origin: what measured it.
    ill: the runner noted feeling ill. well_again: the runner said to be well after an illness. comparable: False
    where a note says that the morning can't be held beside the others. context: all that the runner added.
    """

    date: date
    ln_rmssd: float | None
    resting_pulse_bpm: float | None
    posture: Posture
    hour: float
    usable: bool
    ill: bool | None = None
    irregular_share: float | None = None
    pulse_usable: bool | None = None
    irregular: bool = False
    duration_s: float | None = None
    ln_rmssd_error: float | None = None
    pulse_error_bpm: float | None = None
    origin: Origin = "camera"
    well_again: bool | None = None
    comparable: bool = True
    context: Context = field(default_factory=Context)
