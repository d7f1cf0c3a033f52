"""A reading as the journal keeps it: when, how, what it said, and what the runner adds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date, datetime
from typing import Any, Literal, get_args

from dawnbeat.shared.checked_fields import check_fields, flag, number, one_of, text
from dawnbeat.shared.errors import one_line
from dawnbeat.shared.reading import Metrics, Verdict
from dawnbeat.shared.wording import with_fixed_offset

Posture = Literal["lying", "sitting", "standing"]
POSTURES: tuple[Posture, ...] = get_args(Posture)

# Where the beats of a reading come from: light on a camera, a file of beat intervals such as a chest strap's, a count.
Origin = Literal["camera", "strap", "hand"]
ORIGINS: tuple[Origin, ...] = get_args(Origin)

RATINGS = ("sleep", "stress", "fatigue", "soreness")
RATING_LOW, RATING_HIGH = 1, 7
NAME_LIMIT = 200

# A shorter reading is shown, but never enters a usual range: limits of agreement of lnRMSSD with five minutes are 0.41
# at 30 s and 0.22 at 60 s (Esco & Flatt 2014, J Sports Sci Med 13:535-541).
SHORTEST_COMPARABLE_S = 60.0


def posture_from(text: str) -> Posture:
    """The posture by its name; raises DawnbeatError for any other word."""
    return one_of("posture", text, POSTURES)


def _rating(what: str) -> Any:
    return number(None, RATING_LOW, RATING_HIGH, "", what, whole=True)


@dataclass(frozen=True)
class Context:
    """What the runner adds to a morning; every item is optional (None). The metadata of each field says what it holds.

    The four ratings are the items of the Hooper index (Hooper & Mackinnon 1995, Sports Med 20:321-327). From cycle_day
    on stand the things that can shift readings for days or weeks, which a single morning can't tell from a change in
    the runner; `not_comparable` keeps such a morning out of the usual range. An empty text is stored as None.

    `word` in the metadata is what the item is called where context is typed in one line.
    Raises DawnbeatError when a value has the wrong type or lies outside its range.
    """

    sleep: int | None = _rating("how you slept, 1 very, very good to 7 very, very bad")
    stress: int | None = _rating("stress, 1 very, very low to 7 very, very high")
    fatigue: int | None = _rating("fatigue, 1 very, very low to 7 very, very high")
    soreness: int | None = _rating("muscle soreness, 1 very, very low to 7 very, very high")
    hours_slept: float | None = number(None, 0, 24, "h", "hours slept", word="hours")
    ill: bool | None = flag(None, "feeling ill this morning")
    alcohol: bool | None = flag(None, "alcohol the evening before")
    yesterday_run: str | None = text(None, "yesterday's run in plain words", word="run")
    note: str | None = text(None, "anything else")
    well_again: bool | None = flag(None, "well again after an illness", word="well")
    cycle_day: int | None = number(
        None, 1, 99, "", "day of the menstrual cycle, the first day of bleeding is 1", True, word="cycle"
    )
    heat: bool | None = flag(None, "unaccustomed heat, by day or night")
    altitude_m: float | None = number(None, -500, 9000, "m", "height above the sea, if unaccustomed", word="altitude")
    time_zones: float | None = number(
        None, -14, 14, "h", "hours of time zones crossed lately, eastwards positive", word="travel"
    )
    medicine: str | None = text(None, "medicine taken, or changed")
    not_comparable: bool | None = flag(None, "keep this morning out of the usual range", word="apart")

    def __post_init__(self) -> None:
        for each in fields(self):
            if getattr(self, each.name) == "":
                object.__setattr__(self, each.name, None)
        check_fields(self)

    @property
    def is_empty(self) -> bool:
        """True where the runner added nothing."""
        return all(getattr(self, item.name) is None for item in fields(self))


@dataclass(frozen=True)
class Circumstances:
    """How a reading was taken.

    began: date and time with the offset of the place where it was taken. camera: its name in plain words, or that of
    whatever else took it. origin: what kind of thing that was.
    Raises DawnbeatError when `began` has no offset, or posture or origin are unknown.
    """

    began: datetime
    posture: Posture
    camera: str
    context: Context = Context()
    origin: Origin = "camera"

    def __post_init__(self) -> None:
        object.__setattr__(self, "began", with_fixed_offset(self.began))
        # A camera may give any name; no reading is lost over it.
        object.__setattr__(self, "camera", one_line(self.camera)[:NAME_LIMIT])
        posture_from(self.posture)
        one_of("origin", self.origin, ORIGINS)


@dataclass(frozen=True)
class StoredReading:
    """One reading of the journal.

    id: its number in this journal, in the order of saving. uid: its name across journals.
    began: with the offset of the place; its local date is the day that the reading belongs to.
    intervals95: 95 % intervals by the names of Metrics. timing_error_ms: of one beat time.
    version, settings_json: what analysed it. recording: path relative to the journal's folder, or None.
    picked: the runner chose it for its day. counts: it is the one that counts on its day.
    binned_at: when it went to the bin (UTC), or None. origin: what kind of thing took it.
    answer: what the runner was told that morning and what it rested on, as plain JSON values; None where nothing was.
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
    origin: Origin = "camera"
    answer: Mapping[str, Any] | None = None

    @property
    def local_date(self) -> date:
        """The day of the reading, by the clock of the place where it was taken."""
        return self.began.date()

    @property
    def hour(self) -> float:
        """Hour of the day by the clock of the place, 0 to 24, with minutes as a fraction."""
        return self.began.hour + self.began.minute / 60 + self.began.second / 3600


@dataclass(frozen=True)
class Morning:
    """What the usual range and the answer need to know of one day: the reading that counts, or one that doesn't.

    ln_rmssd: natural logarithm of RMSSD in ms. resting_pulse_bpm: mean pulse of the reading.
    hour: local hour of the day. usable: the variability may be used. pulse_usable: the mean pulse may be; None
    says the same as `usable`. irregular: the pulse kept coming irregularly. duration_s: its length, where known.
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
    pulse_usable: bool | None = None
    irregular: bool = False
    duration_s: float | None = None
    ln_rmssd_error: float | None = None
    pulse_error_bpm: float | None = None
    origin: Origin = "camera"
    well_again: bool | None = None
    comparable: bool = True
    context: Context = field(default_factory=Context)
