"""Month against month and year against year: means with 95 % intervals, from the mornings that compare.

A mean's interval holds the correlation of one morning with the next, as the usual range does; that of the coefficient
of variation takes the mornings as so many independent ones as they are worth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from scipy.stats import chi2, t

from dawnbeat.journal.ranges import LAG1_EXPECTED, Measure, correlated, counts, lag1_of
from dawnbeat.journal.store import Journal
from dawnbeat.shared.files import csv_text, write_export
from dawnbeat.shared.morning import Morning
from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import UNKNOWN, between, number, signed

FEWEST = 5  # a period with fewer comparable mornings is not summed up; common practice, no source


@dataclass(frozen=True)
class Interval:
    """A figure with its 95 % interval."""

    value: float
    low: float
    high: float

    @property
    def clear(self) -> bool:
        """For a difference: whether the interval leaves out zero."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True)
class Period:
    """One month or year. mornings: all with a reading. compared: those in the means.

    rmssd_ms: geometric mean. cv_pct: coefficient of variation of lnRMSSD. rmssd_change_pct, pulse_change_bpm: against
    the period before, where both have enough mornings. Each is None for too few.
    """

    label: str
    mornings: int
    compared: int
    rmssd_ms: Interval | None
    cv_pct: Interval | None
    pulse_bpm: Interval | None
    rmssd_change_pct: Interval | None
    pulse_change_bpm: Interval | None


@dataclass(frozen=True)
class _Mean:
    mean: float
    sd: float
    error: float
    worth: float

    def interval(self) -> Interval:
        half = float(t.ppf(0.975, max(self.worth - 1, 2.0))) * self.error
        return Interval(self.mean, self.mean - half, self.mean + half)


def by_month(mornings: Sequence[Morning]) -> list[Period]:
    """Every month with a morning, the oldest first."""
    return _periods(mornings, lambda day: f"{day:%Y-%m}")


def by_year(mornings: Sequence[Morning]) -> list[Period]:
    """Every year with a morning, the oldest first."""
    return _periods(mornings, lambda day: f"{day:%Y}")


def _periods(mornings: Sequence[Morning], label: Callable[[date], str]) -> list[Period]:
    groups: dict[str, list[Morning]] = {}
    for each in sorted(mornings, key=lambda each: each.date):
        groups.setdefault(label(each.date), []).append(each)
    kinds = [(each.posture, each.origin) for each in mornings if counts(each, "resting_pulse_bpm")]
    usual = max(sorted(set(kinds)), key=kinds.count) if kinds else None
    found: list[Period] = []
    before: tuple[_Mean | None, _Mean | None] = (None, None)
    for name, group in groups.items():
        alike = [each for each in group if (each.posture, each.origin) == usual and not each.ill]
        rmssd, pulse = _mean(alike, "ln_rmssd"), _mean(alike, "resting_pulse_bpm")
        found.append(
            Period(
                label=name,
                mornings=len(group),
                compared=sum(counts(each, "ln_rmssd") for each in alike),
                rmssd_ms=None if rmssd is None else _through(math.exp, rmssd.interval()),
                cv_pct=None if rmssd is None else _cv_pct(rmssd),
                pulse_bpm=None if pulse is None else pulse.interval(),
                rmssd_change_pct=_through(lambda ln: 100 * math.expm1(ln), _change(rmssd, before[0])),
                pulse_change_bpm=_change(pulse, before[1]),
            )
        )
        before = (rmssd, pulse)
    return found


def _mean(alike: Sequence[Morning], measure: Measure) -> _Mean | None:
    used = {each.date: float(getattr(each, measure)) for each in alike if counts(each, measure)}
    if len(used) < FEWEST:
        return None
    mean, sd, error = _mean_of_days(list(used), np.array(list(used.values())))
    worth = len(used) if error == 0 else (sd / error) ** 2
    return _Mean(mean, sd, error, worth)


def _mean_of_days(dates: Sequence[date], values: FloatArray) -> tuple[float, float, float]:
    """Mean, standard deviation and standard error of the mean of mornings on these days, correlation included.

    values: (n,), at least 3. The standard deviation is that of the mornings themselves, not of the sample.
    """
    first, last = min(dates), max(dates)
    there = np.zeros((1, (last - first).days + 1), dtype=np.bool_)
    away = np.zeros(there.shape)
    at = [(each - first).days for each in dates]
    mean, n = float(values.mean()), len(dates)
    there[0, at], away[0, at] = True, values - mean
    variance = (away**2).sum(axis=1) / (n - 1)
    lag1 = lag1_of(away, there, variance, LAG1_EXPECTED)
    of_mean = correlated(there / n, lag1)
    true_variance = variance * (1 - 1 / n) / (1 - of_mean)
    return mean, float(np.sqrt(true_variance)[0]), float(np.sqrt(true_variance * of_mean)[0])


def _change(now: _Mean | None, before: _Mean | None) -> Interval | None:
    if now is None or before is None:
        return None
    error = math.hypot(now.error, before.error)
    half = float(t.ppf(0.975, max(now.worth + before.worth - 2, 2.0))) * error
    value = now.mean - before.mean
    return Interval(value, value - half, value + half)


def _cv_pct(found: _Mean) -> Interval | None:
    if found.mean <= 0:
        return None
    freedom = max(found.worth - 1, 2.0)
    value = 100 * found.sd / found.mean
    low, high = (value * math.sqrt(freedom / float(chi2.ppf(share, freedom))) for share in (0.975, 0.025))
    return Interval(value, low, high)


def _through(function: Callable[[float], float], found: Interval | None) -> Interval | None:
    """The same interval on another scale; the function rises."""
    return None if found is None else Interval(*map(function, (found.value, found.low, found.high)))


HEADINGS = ("Period", "Mornings", "RMSSD, ms", "Variation, %", "Pulse, bpm", "RMSSD changed, %", "Pulse changed, bpm")


def cells(period: Period) -> tuple[str, ...]:
    """One row under HEADINGS; a change that its interval can't tell from none is put in brackets."""
    changes = []
    for found, decimals in ((period.rmssd_change_pct, 0), (period.pulse_change_bpm, 1)):
        words = _words(found, decimals, sign=True)
        changes.append(words if found is None or found.clear else f"[{words}]")
    return (
        period.label,
        f"{period.compared} of {period.mornings}",
        _words(period.rmssd_ms, 0),
        _words(period.cv_pct, 1),
        _words(period.pulse_bpm, 1),
        *changes,
    )


def _words(found: Interval | None, decimals: int, sign: bool = False) -> str:
    if found is None:
        return UNKNOWN
    say = signed if sign else number
    return f"{say(found.value, decimals)} ({between(found.low, found.high, decimals, sign)})"


COLUMNS = (
    *("period", "mornings", "mornings_compared"),
    *(f"{name}{end}" for name in ("rmssd_ms", "cv_pct", "pulse_bpm") for end in ("", "_low", "_high")),
    *(f"{name}{end}" for name in ("rmssd_change_pct", "pulse_change_bpm") for end in ("", "_low", "_high")),
)


def csv_cells(period: Period) -> list[str]:
    """One row under COLUMNS; an empty cell where there are too few mornings."""
    row = [period.label, str(period.mornings), str(period.compared)]
    figures = (period.rmssd_ms, period.cv_pct, period.pulse_bpm, period.rmssd_change_pct, period.pulse_change_bpm)
    for found in figures:
        row += ["", "", ""] if found is None else [f"{each:.3f}" for each in (found.value, found.low, found.high)]
    return row


def export_periods(journal: Journal, out: Path, overwrite: bool = False) -> int:
    """Write one row a month and a year, with 95 % intervals, and return how many; faults as in `export_mornings`."""
    mornings = journal.mornings()
    found = [*by_month(mornings), *by_year(mornings)]
    write_export(out, csv_text(COLUMNS, map(csv_cells, found)), "write the months", overwrite)
    return len(found)
