"""What a recording says: beats, the intervals between them and which count, figures with their errors, the verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

import numpy as np

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import BoolArray, FloatArray

Reason = Literal["movement", "missed beat", "extra beat", "irregular beat", "gap", "weak pulse"]
REASONS: tuple[Reason, ...] = get_args(Reason)


@dataclass(frozen=True)
class Beats:
    """Beat times with how well each was timed.

    time_s: (k,) the steepest moment of each beat's fall in brightness, on the trace's own clock, increasing.
    error_ms: (k,) standard deviation of each beat's own timing error, estimated from its fit.
    likeness: (k,) correlation of each beat's edge with the recording's own median beat, -1 to 1.
    """

    time_s: FloatArray
    error_ms: FloatArray
    likeness: FloatArray

    def __len__(self) -> int:
        return int(self.time_s.size)


@dataclass(frozen=True)
class Intervals:
    """The k - 1 intervals between k successive beats, kept or left out.

    start_s: (m,) time of the beat that begins each interval.
    interval_ms: (m,) its length in milliseconds.
    left_out: m entries, None for an interval that counts, else the reason why it does not.
    """

    start_s: FloatArray
    interval_ms: FloatArray
    left_out: tuple[Reason | None, ...]

    def __len__(self) -> int:
        return int(self.interval_ms.size)

    @property
    def kept(self) -> BoolArray:
        """(m,) True for each interval that counts."""
        return np.array([reason is None for reason in self.left_out], dtype=np.bool_)

    @property
    def bounding(self) -> BoolArray:
        """(m + 1,) True for each beat that bounds an interval that counts."""
        return bounding(self.kept)

    @property
    def end_s(self) -> FloatArray:
        """(m,) time of the beat that ends each interval."""
        return self.start_s + self.interval_ms / 1000.0

    @property
    def kept_ms(self) -> FloatArray:
        """The lengths of the intervals that count, in order, in milliseconds."""
        return self.interval_ms[self.kept]


def bounding(kept: BoolArray) -> BoolArray:
    """(m + 1,) which beats bound at least one of the intervals that (m,) kept marks."""
    return np.asarray(np.append(kept, False) | np.append(False, kept))


def figure(
    unit: str,
    title: str,
    meaning: str,
    decimals: int | None = None,
    interval: bool = False,
    logarithm: bool = False,
    whole: bool = False,
    default: int | None = None,
    **more: Any,
) -> Any:
    """A figure of Metrics; the journal stores and exports, and the terminal lists, whatever is told here.

    title, decimals: how it is shown; without decimals it stands in no list. interval: its 95 % interval is given too.
    logarithm: it may be negative. whole: it is a count.
    """
    about = {"unit": unit, "title": title, "meaning": meaning, "decimals": decimals, "interval": interval}
    return field(default=default, metadata={**about, "logarithm": logarithm, "whole": whole, **more})


@dataclass(frozen=True)
class Metrics:
    """Time-domain figures over the kept intervals (Task Force of ESC and NASPE 1996, Circulation 93:1043).

    A figure that can't be computed from what was kept is None. Differences are taken only between two kept
    intervals that follow one another.
    """

    mean_hr_bpm: float | None = figure("bpm", "resting pulse", "mean pulse of the reading", 1, interval=True)
    mean_nn_ms: float | None = figure("ms", "mean NN", "mean of the kept intervals", 0)
    sdnn_ms: float | None = figure("ms", "SDNN", "SDNN, standard deviation of the kept intervals", 1, interval=True)
    rmssd_ms: float | None = figure(
        "ms", "RMSSD", "RMSSD, root mean square of successive differences", 1, interval=True
    )
    ln_rmssd: float | None = figure("ln ms", "lnRMSSD", "natural logarithm of RMSSD", 2, interval=True, logarithm=True)
    sdsd_ms: float | None = figure("ms", "SDSD", "standard deviation of successive differences", 1)
    nn50: int | None = figure("count", "NN50", "successive differences over 50 ms", 0, whole=True)
    pnn50_pct: float | None = figure("%", "pNN50", "share of successive differences over 50 ms", 1)
    cv_nn_pct: float | None = figure("%", "CV of NN", "coefficient of variation of the kept intervals", 1)
    min_nn_ms: float | None = figure("ms", "shortest NN", "shortest kept interval", 0)
    max_nn_ms: float | None = figure("ms", "longest NN", "longest kept interval", 0)
    sd1_ms: float | None = figure("ms", "SD1", "Poincaré plot, width across the identity line", 1)
    sd2_ms: float | None = figure("ms", "SD2", "Poincaré plot, length along the identity line", 1)
    kept_beats: int = figure("count", "kept beats", "beats that count", whole=True, default=0)
    kept_share: float | None = figure("0 to 1", "kept share", "share of the reading that was kept")


@dataclass(frozen=True)
class Finding:
    """One thing that speaks for or against a reading, as data.

    code: a short word, such as "movement". values: the numbers it rests on, by name with unit, such as "from_s".
    """

    code: str
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Verdict:
    """Which figures of a reading may be trusted, and what that rests on.

    usable: the variability may be used. pulse_usable: the mean pulse may be used. irregular: the pulse keeps coming
    irregularly. findings: what speaks against the reading, most important first, or what the trust rests on.
    Usable implies pulse_usable, and irregular implies not usable; anything else raises ValueError.
    """

    usable: bool
    pulse_usable: bool
    irregular: bool
    findings: tuple[Finding, ...]

    def __post_init__(self) -> None:
        if self.usable and (self.irregular or not self.pulse_usable):
            raise ValueError(f"a verdict that contradicts itself: {self}")


def verdict_as_data(verdict: Verdict) -> dict[str, Any]:
    """The verdict as plain values for JSON: the three flags, and the findings as code and values."""
    return {
        "usable": verdict.usable,
        "pulse_usable": verdict.pulse_usable,
        "irregular": verdict.irregular,
        "findings": findings_as_data(verdict.findings),
    }


def findings_as_data(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """The findings as a list of {"code", "values"} for JSON; a value that is not finite is left out."""
    return [
        {
            "code": each.code,
            "values": {name: float(value) for name, value in each.values.items() if math.isfinite(value)},
        }
        for each in findings
    ]


def findings_from_data(data: Any) -> tuple[Finding, ...]:
    """The findings of what `findings_as_data` gave; raises ValueError for anything else."""
    if not isinstance(data, list):
        raise ValueError("findings are a list")
    findings = []
    for each in data:
        if not isinstance(each, dict) or not isinstance(each.get("code"), str):
            raise ValueError("a finding has a code")
        values = each.get("values", {})
        if not isinstance(values, dict) or any(
            isinstance(value, bool) or not isinstance(value, int | float) for value in values.values()
        ):
            raise ValueError("the values of a finding are numbers by name")
        findings.append(Finding(each["code"], {str(name): float(value) for name, value in values.items()}))
    return tuple(findings)


@dataclass(frozen=True)
class PulseWave:
    """The filtered pulse that the beats were found in, for plots; brightness falls are drawn upwards.

    time_s: (n,) seconds on the trace's clock. value: (n,) per mille of the mean brightness.
    """

    time_s: FloatArray
    value: FloatArray


@dataclass(frozen=True)
class Analysis:
    """Everything that one recording says, with the settings and the version that said it.

    duration_s: from the first to the last frame. frame_rate_hz: None for fewer than two frames.
    channel: the colour, or combination of colours, that carried the pulse; None where none did. Where it
        differs between segments, the one that carried the longest time.
    intervals95: 95 % intervals by the names of Metrics ("mean_hr_bpm", "rmssd_ms", "ln_rmssd", "sdnn_ms").
    timing_error_ms: standard deviation of the error of one beat time; None where it can't be estimated.
    """

    duration_s: float
    frame_rate_hz: float | None
    channel: str | None
    beats: Beats
    intervals: Intervals
    metrics: Metrics
    intervals95: dict[str, tuple[float, float]]
    timing_error_ms: float | None
    verdict: Verdict
    wave: PulseWave
    settings: Settings
    version: str
