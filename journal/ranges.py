"""Where the runner's values usually lie, and how far today and this week may stray by chance, as pure functions.

lnRMSSD is averaged over a week, of which three mornings say enough (Plews et al. 2014, Int J Sports Physiol Perform
9:783-790). The reference is the four weeks before that week, as in the trial of Vesterinen et al. 2016 (Med Sci Sports
Exerc 48:1347-1354), and the usual range its mean plus and minus half its standard deviation, which the trial took for
the smallest worthwhile change. The same is done for the resting pulse. That at least 14 of the 28 mornings are wanted
is common practice, no source. The errors of the week and of a single morning follow from the standard deviation of the
reference and the correlation of one morning with the next (a first-order autoregressive process).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.special import stdtrit

from dawnbeat.shared.checked_fields import check_fields, number
from dawnbeat.shared.morning import ORIGINS, POSTURES, SHORTEST_COMPARABLE_S, Morning, Origin, Posture
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray

Measure = Literal["ln_rmssd", "resting_pulse_bpm"]

Standing = Literal[
    "inside your usual range", "below your usual range", "above your usual range", "too few mornings to say"
]
INSIDE: Standing = "inside your usual range"
BELOW: Standing = "below your usual range"
ABOVE: Standing = "above your usual range"
TOO_FEW: Standing = "too few mornings to say"

# Four weeks are too few to measure the correlation of one morning with the next, so what they show is drawn towards a
# middling value, as if that had been seen in so many pairs of mornings. Both chosen on simulated runners with
# correlations from 0 to 0.4 (tests/benchmarks/answers.py).
LAG1_EXPECTED = 0.2
_LAG1_EXPECTED_PAIRS = 30
_LAG1_MOST = 0.5
# Correlations further apart than this are nothing: 0.5 to the power of 12 is 0.0002.
_FURTHEST_LAG = 12
NORMAL_95 = 1.959964
# A change reaches the last mornings of a week before it fills the week. Chosen on simulated runners.
LATELY = 5


@dataclass(frozen=True)
class RangeSettings:
    """Windows, minimum counts and the smallest worthwhile change; metadata as in shared Settings.

    Raises DawnbeatError when a value has the wrong type or lies outside its range.
    """

    week_days: int = number(7, 3, 14, "days", "length of the week's average, today included", whole=True)
    week_minimum: int = number(3, 2, 14, "mornings", "fewest usable mornings for a week's average", whole=True)
    history_days: int = number(28, 14, 90, "days", "days before the week that make the usual range", whole=True)
    history_minimum: int = number(14, 3, 90, "mornings", "fewest usable mornings for a usual range", whole=True)
    worthwhile_sd: float = number(0.5, 0.1, 2.0, "SD", "smallest worthwhile change in standard deviations")
    trend_days: int = number(28, 14, 84, "days", "length of the trend, today included", whole=True)
    trend_minimum: int = number(14, 3, 84, "mornings", "fewest usable mornings for a trend", whole=True)
    hour_tolerance_h: float = number(2.0, 0.5, 6.0, "h", "a morning further from the usual hour is no part of it")

    def __post_init__(self) -> None:
        check_fields(self, "setting ")

    @property
    def reach_days(self) -> int:
        """Days that the week and the usual range look back over, today included."""
        return self.week_days + self.history_days


DEFAULT = RangeSettings()


@dataclass(frozen=True)
class WeekAverage:
    """Mean of the week's usable mornings. cv_pct: their coefficient of variation, 100 SD / mean.

    error: standard error of its distance from the mean of the usual range, NaN where there is none. lately,
    lately_error: the same of its last five mornings only, which a change reaches before it fills the week.
    """

    mean: float
    cv_pct: float
    dates: tuple[date, ...]
    error: float = float("nan")
    lately: float = float("nan")
    lately_error: float = float("nan")

    @property
    def n(self) -> int:
        """How many mornings it rests on."""
        return len(self.dates)


@dataclass(frozen=True)
class UsualRange:
    """The mornings before the week: their mean and sample standard deviation, and what follows from them.

    low, high: the range for a week's average. band_low, band_high: where 95 of 100 single mornings lie. spread:
    standard deviation of the distance of a new morning from the mean, widened for what so few mornings leave open,
    so that it can be read as one of a normal distribution. lag1: correlation of one morning with the next.
    reading_error: standard error of a reading in it, root mean square; 0 where unknown.
    """

    low: float
    high: float
    mean: float
    sd: float
    dates: tuple[date, ...]
    band_low: float = float("nan")
    band_high: float = float("nan")
    spread: float = float("nan")
    lag1: float = 0.0
    reading_error: float = 0.0

    @property
    def n(self) -> int:
        """How many mornings it rests on."""
        return len(self.dates)

    def away(self, value: float, reading_error: float | None = None) -> float:
        """How many standard deviations of single mornings a value lies from the mean.

        reading_error: of this reading; only what it has beyond the usual reading widens the spread.
        """
        beyond = max(0.0, (reading_error or 0.0) ** 2 - self.reading_error**2)
        spread = float(np.sqrt(self.spread**2 + beyond))
        return (value - self.mean) / spread if spread > 0 else 0.0


@dataclass(frozen=True)
class DailyRanges:
    """One entry a day without holes; NaN where there are too few mornings.

    day: (d,) ordinals of the days. week, week_cv_pct, week_error, mean, sd, low, high, band_low, band_high, spread,
    lag1, reading_error: (d,) as in WeekAverage and UsualRange. week_n, n: (d,) how many mornings each rests on.
    in_week, in_reference: (d, reach) which of the days up to each day they are, the newest last. posture, origin,
    hour: (d,) what was usual on each day, as places in POSTURES and ORIGINS; -1 and NaN for unknown.
    """

    day: IntArray
    week: FloatArray
    week_cv_pct: FloatArray
    week_error: FloatArray
    lately: FloatArray
    lately_error: FloatArray
    week_n: IntArray
    mean: FloatArray
    sd: FloatArray
    low: FloatArray
    high: FloatArray
    band_low: FloatArray
    band_high: FloatArray
    spread: FloatArray
    lag1: FloatArray
    reading_error: FloatArray
    n: IntArray
    in_week: BoolArray
    in_reference: BoolArray
    posture: IntArray
    origin: IntArray
    hour: FloatArray


def may_be_used(morning: Morning, measure: Measure) -> bool:
    """Whether the reading of a morning may be used for a measure, comparable or not."""
    if measure == "resting_pulse_bpm":
        return morning.usable if morning.pulse_usable is None else morning.pulse_usable
    return morning.usable


def counts(morning: Morning, measure: Measure) -> bool:
    """Whether a morning says anything about a measure: it may be used, and is long enough and comparable."""
    if getattr(morning, measure) is None or not morning.comparable:
        return False
    if morning.duration_s is not None and morning.duration_s < SHORTEST_COMPARABLE_S:
        return False
    return may_be_used(morning, measure) and not (measure == "ln_rmssd" and morning.irregular)


def daily_ranges(
    mornings: Iterable[Morning],
    measure: Measure,
    first: date,
    last: date,
    settings: RangeSettings = DEFAULT,
    like: tuple[Posture, Origin] | None = None,
) -> DailyRanges:
    """Week's average and usual range of one measure as they stood on each day from `first` to `last`.

    Only mornings in the posture and by the origin that most of the days looked back over share, and near their usual
    hour, count; ill ones count in the week and not in the reference. like: this posture and origin instead.
    """
    reach, week = settings.reach_days, settings.week_days
    start = first.toordinal() - reach + 1
    size = last.toordinal() - start + 1
    value, error, hour = (np.full(size, np.nan) for _ in range(3))
    kind = np.full(size, -1, dtype=np.int64)
    ill = np.zeros(size, dtype=np.bool_)
    for each in mornings:
        at = each.date.toordinal() - start
        if 0 <= at < size and counts(each, measure):
            value[at], hour[at], ill[at] = float(getattr(each, measure)), each.hour, bool(each.ill)
            kind[at] = _kind(each.posture, each.origin)
            own = each.ln_rmssd_error if measure == "ln_rmssd" else each.pulse_error_bpm
            error[at] = np.nan if own is None else own
    kinds = sliding_window_view(kind, reach)
    usual_kind = _most_common(kinds) if like is None else np.full(len(kinds), _kind(*like), dtype=np.int64)
    alike = (kinds == usual_kind[:, None]) & (kinds >= 0)
    hours = np.where(alike, sliding_window_view(hour, reach), np.nan)
    usual_hour = _median(hours, settings.week_minimum)
    off = np.abs((hours - usual_hour[:, None] + 12) % 24 - 12)
    alike &= ~(off > settings.hour_tolerance_h)
    newest = np.arange(reach) >= reach - week
    in_week = alike & newest
    in_reference = alike & ~newest & ~sliding_window_view(ill, reach)
    values = np.where(alike, sliding_window_view(value, reach), 0.0)
    errors = np.where(in_reference, sliding_window_view(error, reach), np.nan)
    return _figures(
        np.arange(first.toordinal(), last.toordinal() + 1, dtype=np.int64),
        (values, errors, in_week, in_reference),
        (usual_kind, usual_hour),
        settings,
    )


def _figures(
    day: IntArray,
    windows: tuple[FloatArray, FloatArray, BoolArray, BoolArray],
    usual: tuple[IntArray, FloatArray],
    settings: RangeSettings,
) -> DailyRanges:
    values, errors, in_week, in_reference = windows
    kind, hour = usual
    week_n, n = in_week.sum(axis=1), in_reference.sum(axis=1)
    enough_week, enough = week_n >= settings.week_minimum, n >= max(settings.history_minimum, 3)
    with np.errstate(divide="ignore", invalid="ignore"):
        week = np.where(enough_week, (values * in_week).sum(axis=1) / week_n, np.nan)
        week_sd = np.sqrt(((values - week[:, None]) ** 2 * in_week).sum(axis=1) / (week_n - 1))
        mean = np.where(enough, (values * in_reference).sum(axis=1) / n, np.nan)
        away = np.where(in_reference, values - mean[:, None], 0.0)
        variance = (away**2).sum(axis=1) / (n - 1)
        lag1 = lag1_of(away, in_reference, variance, LAG1_EXPECTED)
        newest = in_week & (np.cumsum(in_week[:, ::-1], axis=1)[:, ::-1] <= LATELY)
        lately_n = newest.sum(axis=1)
        weights = in_week / week_n[:, None] - in_reference / n[:, None]
        weights_lately = newest / lately_n[:, None] - in_reference / n[:, None]
        of_mean = correlated(in_reference / n[:, None], lag1)
        # Mornings that follow one another vary less around their own mean than around what it estimates.
        true_variance = variance * (1 - 1 / n) / (1 - of_mean)
        # What a standard deviation from so few mornings leaves open, by Student's t.
        open_end = stdtrit(n - 1.0, 0.975) / NORMAL_95
        week_error = np.sqrt(true_variance * correlated(weights, lag1)) * open_end
        lately = (values * newest).sum(axis=1) / lately_n
        lately_error = np.sqrt(true_variance * correlated(weights_lately, lag1)) * open_end
        spread = np.sqrt(true_variance * (1 + of_mean)) * open_end
        known = np.isfinite(errors).sum(axis=1)
        reading_error = np.sqrt(np.where(known > 0, np.nansum(errors**2, axis=1) / known, 0.0))
        sd = np.sqrt(variance)
        half = settings.worthwhile_sd * sd
        cv_pct = np.where(week != 0, 100.0 * week_sd / np.abs(week), 0.0)
    return DailyRanges(
        day=day,
        week=week,
        week_cv_pct=cv_pct,
        week_error=np.where(enough_week, week_error, np.nan),
        lately=np.where(enough_week, lately, np.nan),
        lately_error=np.where(enough_week, lately_error, np.nan),
        week_n=week_n,
        mean=mean,
        sd=sd,
        low=mean - half,
        high=mean + half,
        band_low=mean - NORMAL_95 * spread,
        band_high=mean + NORMAL_95 * spread,
        spread=spread,
        lag1=lag1,
        reading_error=reading_error,
        n=n,
        in_week=in_week,
        in_reference=in_reference,
        posture=np.where(kind >= 0, kind // len(ORIGINS), -1),
        origin=np.where(kind >= 0, kind % len(ORIGINS), -1),
        hour=hour,
    )


def _kind(posture: Posture, origin: Origin) -> int:
    return POSTURES.index(posture) * len(ORIGINS) + ORIGINS.index(origin)


def _most_common(kinds: IntArray) -> IntArray:
    """The most common kind of each row, the newer of equals; -1 for a row without any. kinds: (d, reach)."""
    reach = kinds.shape[1]
    place = np.arange(1, reach + 1)
    score = np.stack(
        [
            (kinds == kind).sum(axis=1) + (np.where(kinds == kind, place, 0)).max(axis=1) / (2 * reach)
            for kind in range(len(POSTURES) * len(ORIGINS))
        ]
    )
    return np.where(score.max(axis=0) > 0, score.argmax(axis=0), -1)


def _median(rows: FloatArray, fewest: int) -> FloatArray:
    """The median of each row without its NaN; NaN where fewer than `fewest` are left."""
    found = np.full(len(rows), np.nan)
    enough = np.isfinite(rows).sum(axis=1) >= fewest
    if enough.any():
        found[enough] = np.nanmedian(rows[enough], axis=1)
    return found


def lag1_of(away: FloatArray, there: BoolArray, variance: FloatArray, expected: float) -> FloatArray:
    """Correlation of a morning with the next, drawn towards what is expected, 0 to the most that is believed.

    away: (d, reach) distances from the mean, 0 where no morning is. there: (d, reach). variance: (d,).
    """
    pairs = (there[:, 1:] & there[:, :-1]).sum(axis=1)
    product = (away[:, 1:] * away[:, :-1]).sum(axis=1)
    n = there.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        # Distances from their own mean look less alike than they are, by about one part in n.
        seen = np.where((variance > 0) & (n > 1), product / variance + pairs / np.maximum(n, 1), pairs * expected)
    drawn = (seen + _LAG1_EXPECTED_PAIRS * expected) / (pairs + _LAG1_EXPECTED_PAIRS)
    return np.clip(np.where(np.isfinite(drawn), drawn, expected), 0.0, _LAG1_MOST)


def correlated(weights: FloatArray, lag1: FloatArray) -> FloatArray:
    """Variance of the weighted sums of each row of mornings of variance 1, correlated as lag1 ** days apart."""
    total = (weights**2).sum(axis=1)
    for lag in range(1, min(_FURTHEST_LAG, weights.shape[1] - 1) + 1):
        total = total + 2 * (weights[:, lag:] * weights[:, :-lag]).sum(axis=1) * lag1**lag
    return np.asarray(total)


def in_usual_posture(mornings: Iterable[Morning], today: date, settings: RangeSettings = DEFAULT) -> list[Morning]:
    """Those in the posture that most usable mornings of the week and the days before share, the newer of equals."""
    given = list(mornings)
    found = daily_ranges(given, "resting_pulse_bpm", today, today, settings)
    return [each for each in given if POSTURES.index(each.posture) == found.posture[0]]


def week_and_range(
    mornings: Iterable[Morning],
    measure: Measure,
    today: date,
    settings: RangeSettings = DEFAULT,
    like: tuple[Posture, Origin] | None = None,
) -> tuple[WeekAverage | None, UsualRange | None]:
    """The week's average and the usual range of one day; None where there are too few mornings."""
    return of_one_day(daily_ranges(mornings, measure, today, today, settings, like))


def of_one_day(found: DailyRanges) -> tuple[WeekAverage | None, UsualRange | None]:
    """The week's average and the usual range of the only day of `found`; None where there are too few mornings."""
    oldest = date.fromordinal(int(found.day[0])) - timedelta(days=found.in_week.shape[1] - 1)

    def dates(there: BoolArray) -> tuple[date, ...]:
        return tuple(oldest + timedelta(days=int(at)) for at in np.flatnonzero(there))

    def first(*names: str) -> dict[str, float]:
        return {name: float(getattr(found, name)[0]) for name in names}

    week, usual = None, None
    if np.isfinite(found.week[0]):
        week = WeekAverage(
            mean=float(found.week[0]),
            cv_pct=float(found.week_cv_pct[0]),
            error=float(found.week_error[0]),
            dates=dates(found.in_week[0]),
            **first("lately", "lately_error"),
        )
    if np.isfinite(found.mean[0]):
        usual = UsualRange(
            dates=dates(found.in_reference[0]),
            **first("low", "high", "mean", "sd", "band_low", "band_high", "spread", "lag1", "reading_error"),
        )
    return week, usual


def standing(value: float | None, low: float | None, high: float | None) -> Standing:
    """Where a value stands between two bounds, which are inside themselves; TOO_FEW where anything is unknown."""
    if value is None or low is None or high is None or not all(map(np.isfinite, (value, low, high))):
        return TOO_FEW
    # Rounding alone must not put a mean of equal values outside a range of no width.
    rounding = 1e-9 * (abs(low) + abs(high))
    if value < low - rounding:
        return BELOW
    return ABOVE if value > high + rounding else INSIDE
