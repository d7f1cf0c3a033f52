"""Pulse zones from a resting pulse and a maximum, from the maximum alone, or from a threshold pulse.

By heart-rate reserve: Karvonen, Kentala & Mustala 1957 (Ann Med Exp Biol Fenn 35:307-315); a boundary of p %
lies at resting + p / 100 * (maximum - resting). By share of the maximum and by share of the threshold pulse:
common practice, no source.

The default boundaries by reserve, and by threshold pulse, are common practice, no source. Those by share of the
maximum are of the same effort as those by reserve: by the lines of Swain & Leutholtz 1997 (Med Sci Sports Exerc
29:410-414: % reserve = 1.12 * % of greatest uptake - 11.6) and Swain et al. 1994 (Med Sci Sports Exerc 26:112-116;
from memory: % maximum = 0.64 * % of greatest uptake + 37), to whole per cents. The American College of Sports Medicine
says the same in steps: 60 to 89 % of reserve are 77 to 95 % of maximum (Garber et al. 2011, Med Sci Sports Exerc
43:1334-1359).

Rounding: a boundary is rounded to the nearest whole beat, halves upwards. A pulse equal to a boundary belongs
to the zone below it, so the top of easy is still easy.
"""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from dawnbeat.shared.checked_fields import one_of
from dawnbeat.shared.errors import DawnbeatError

Method = Literal["heart-rate reserve", "share of maximum", "threshold pulse"]
METHODS: tuple[Method, ...] = get_args(Method)

RESTING_LOW, RESTING_HIGH = 25.0, 120.0
MAXIMUM_LOW, MAXIMUM_HIGH = 100.0, 240.0
SMALLEST_RESERVE = 30.0
MOST_ZONES = 12
NAME_LIMIT = 60
ROUNDING = (
    "A boundary is rounded to the nearest whole beat, halves upwards; a pulse equal to a boundary belongs to the "
    "zone below it."
)
SAME_EFFORT = (
    "Reserve and share of maximum stand at the per cents of the same effort in an average runner (American College of "
    "Sports Medicine; Swain & Leutholtz 1997). Only the reserve knows your resting pulse: the lower it is, the further "
    "the share of maximum comes out above it."
)
TALK_TEST = (
    "Talk test: easy is where you can speak in whole sentences. If the numbers and the talk disagree, run by the talk "
    "and measure the maximum again."
)
NOT_MEDICAL = (
    "Zones are a training aid and not medical advice. Beta blockers and some other medicines lower the pulse, so zones "
    "don't fit then: ask your doctor."
)
_HIGHEST_PCT: dict[Method, float] = {"heart-rate reserve": 100, "share of maximum": 100, "threshold pulse": 130}
_DEFAULT_PCT: dict[Method, tuple[float, ...]] = {
    "heart-rate reserve": (60, 70, 80, 90),
    "share of maximum": (78, 84, 89, 95),
    "threshold pulse": (85, 90, 95, 100),
}


@dataclass(frozen=True)
class Scheme:
    """How zones are cut. boundaries_pct: k increasing shares that cut k + 1 zones. names: k + 1, from easiest.

    easy_top: number of the zone whose top is the top of easy. Raises DawnbeatError for what can't be a scheme.
    """

    method: Method
    boundaries_pct: tuple[float, ...]
    names: tuple[str, ...] = ()
    easy_top: int = 2

    def __post_init__(self) -> None:
        one_of("method", self.method, METHODS)
        bounds, high = self.boundaries_pct, _HIGHEST_PCT[self.method]
        if not 1 <= len(bounds) < MOST_ZONES:
            raise DawnbeatError(f"{len(bounds)} boundaries: give 1 to {MOST_ZONES - 1}, such as 60,70,80,90")
        if not all(math.isfinite(each) and 0 < each <= high for each in bounds):
            raise DawnbeatError(
                f"a boundary of {self.method} lies above 0 % and at most at {high:g} %: {_list(bounds)}"
            )
        if any(after <= before for before, after in itertools.pairwise(bounds)):
            raise DawnbeatError(f"the boundaries {_list(bounds)} do not rise: give them from low to high")
        if not self.names:
            object.__setattr__(self, "names", tuple(f"zone {n}" for n in range(1, len(bounds) + 2)))
        if len(self.names) != len(bounds) + 1:
            raise DawnbeatError(f"{len(self.names)} names for {len(bounds) + 1} zones: name each zone once")
        if any(not name.strip() or len(name) > NAME_LIMIT or not name.isprintable() for name in self.names):
            raise DawnbeatError(f"a zone's name is empty, over {NAME_LIMIT} characters or not plain text: change it")
        if not 1 <= self.easy_top <= len(bounds):
            raise DawnbeatError(
                f"the top of easy is zone {self.easy_top}: choose a zone from 1 to {len(bounds)}, as "
                "the last one has no top"
            )


def default_scheme(method: Method) -> Scheme:
    """Five zones by a method; the top of easy is the top of zone 2."""
    return Scheme(method, _DEFAULT_PCT[method])


@dataclass(frozen=True)
class Anchors:
    """What zones hang on, in bpm; None for what is not known. Raises DawnbeatError for what can't be."""

    resting_bpm: float | None = None
    maximum_bpm: float | None = None
    threshold_bpm: float | None = None

    def __post_init__(self) -> None:
        resting, maximum, threshold = self.resting_bpm, self.maximum_bpm, self.threshold_bpm
        _check("resting pulse", resting, RESTING_LOW, RESTING_HIGH)
        _check("maximum", maximum, MAXIMUM_LOW, MAXIMUM_HIGH)
        _check("threshold pulse", threshold, RESTING_HIGH * 0.7, MAXIMUM_HIGH)
        if resting is not None and maximum is not None and maximum - resting < SMALLEST_RESERVE:
            raise DawnbeatError(
                f"a maximum of {maximum:g} is less than {SMALLEST_RESERVE:g} beats above a resting "
                f"pulse of {resting:g}: "
                "check both"
            )
        if threshold is not None and maximum is not None and threshold >= maximum:
            raise DawnbeatError(
                f"a threshold pulse of {threshold:g} is not below the maximum of {maximum:g}: check both"
            )
        if threshold is not None and resting is not None and threshold <= resting:
            raise DawnbeatError(
                f"a threshold pulse of {threshold:g} is not above the resting pulse {resting:g}: check both"
            )


@dataclass(frozen=True)
class Zone:
    """One zone; a pulse of low_bpm to high_bpm, both whole beats and included. None leaves that end open."""

    number: int
    name: str
    low_bpm: int | None
    high_bpm: int | None
    from_pct: float | None
    to_pct: float | None
    says: str

    @property
    def span_words(self) -> str:
        """The pulses of the zone, without the unit."""
        if self.low_bpm is None:
            return f"up to {self.high_bpm}"
        return f"{self.low_bpm} and above" if self.high_bpm is None else f"{self.low_bpm} to {self.high_bpm}"

    @property
    def share_words(self) -> str:
        """The shares of the zone in per cent."""
        if self.from_pct is None:
            return f"up to {self.to_pct:g} %"
        return f"over {self.from_pct:g} %" if self.to_pct is None else f"{self.from_pct:g} to {self.to_pct:g} %"


@dataclass(frozen=True)
class Zones:
    """Zones as they stand. tops_bpm: the k boundaries in whole beats, each the top of the zone below it."""

    scheme: Scheme
    anchors: Anchors
    tops_bpm: tuple[int, ...]

    @property
    def top_of_easy_bpm(self) -> int:
        """The highest pulse that is still easy."""
        return self.tops_bpm[self.scheme.easy_top - 1]

    @property
    def count(self) -> int:
        """How many zones there are."""
        return len(self.tops_bpm) + 1

    def number_of(self, pulse_bpm: float) -> int:
        """The zone of a pulse, 1 for the easiest; the pulse is rounded as a boundary is."""
        return bisect.bisect_left(self.tops_bpm, half_up(pulse_bpm)) + 1

    def table(self) -> tuple[Zone, ...]:
        """The zones from easiest to hardest."""
        tops, bounds = self.tops_bpm, self.scheme.boundaries_pct
        last = len(tops)
        return tuple(
            Zone(
                number=n + 1,
                name=self.scheme.names[n],
                low_bpm=None if n == 0 else tops[n - 1] + 1,
                high_bpm=None if n == last else tops[n],
                from_pct=None if n == 0 else bounds[n - 1],
                to_pct=None if n == last else bounds[n],
                says=talk_test(n + 1, self.scheme.easy_top, last + 1),
            )
            for n in range(last + 1)
        )


def zones(anchors: Anchors, scheme: Scheme) -> Zones:
    """The zones of a scheme.

    Raises DawnbeatError when the pulse that its method needs is missing, or a zone has no whole beat in it.
    """
    missing = missing_for(anchors, scheme.method)
    if missing:
        raise DawnbeatError(f"zones by {scheme.method} need {missing}: give it")
    tops = tuple(half_up(_pulse_at(anchors, scheme.method, each)) for each in scheme.boundaries_pct)
    if any(after <= before for before, after in itertools.pairwise(tops)):
        raise DawnbeatError(
            f"the boundaries {_list(scheme.boundaries_pct)} are less than one beat apart: use fewer zones"
        )
    return Zones(scheme, anchors, tops)


def missing_for(anchors: Anchors, method: Method) -> str:
    """What a method lacks, in words; empty when it has all it needs."""
    if method == "threshold pulse":
        return "" if anchors.threshold_bpm is not None else "a threshold pulse"
    lacking = [] if anchors.maximum_bpm is not None else ["a maximum"]
    if method == "heart-rate reserve" and anchors.resting_bpm is None:
        lacking.insert(0, "a resting pulse")
    return " and ".join(lacking)


@dataclass(frozen=True)
class Compared:
    """One method beside the others. difference_bpm: its top of easy minus that of the first with one."""

    method: Method
    zones: Zones | None
    missing: str
    difference_bpm: int | None


def compare(anchors: Anchors, schemes: Sequence[Scheme] = ()) -> tuple[Compared, ...]:
    """The methods side by side, in the order given (else all by default), with where the top of easy falls."""
    rows: list[Compared] = []
    first: int | None = None
    for scheme in schemes or [default_scheme(method) for method in METHODS]:
        missing = missing_for(anchors, scheme.method)
        found = None if missing else zones(anchors, scheme)
        if found is not None and first is None:
            first = found.top_of_easy_bpm
        difference = None if found is None or first is None else found.top_of_easy_bpm - first
        rows.append(Compared(scheme.method, found, missing, difference))
    return tuple(rows)


def apart_words(compared: Sequence[Compared]) -> str:
    """How far the tops of easy lie apart; empty where only one method can say."""
    tops = [each.zones.top_of_easy_bpm for each in compared if each.zones is not None]
    if len(tops) < 2:
        return ""
    spread = max(tops) - min(tops)
    if not spread:
        return f"All {len(tops)} methods put the top of easy at {tops[0]} bpm."
    return (
        f"The methods put the top of easy between {min(tops)} and {max(tops)} bpm, {spread} beats apart. "
        "The talk test settles it."
    )


def with_count(scheme: Scheme, count: int) -> tuple[float, ...]:
    """So many boundaries, in per cent: those of the scheme as far as they go, and more above in the same steps.

    Where there is no room above, they are spread evenly from the lowest one up.
    """
    bounds = scheme.boundaries_pct
    if count <= len(bounds):
        return bounds[:count]
    usual = default_scheme(scheme.method).boundaries_pct
    step, highest = usual[-1] - usual[-2], usual[-1] + (usual[-1] - usual[-2]) / 2
    more = tuple(round(bounds[-1] + n * step, 1) for n in range(1, count - len(bounds) + 1))
    if more[-1] <= highest:
        return bounds + more
    lowest = min(bounds[0], usual[0])
    return tuple(round(lowest + n * (highest - lowest) / (count - 1), 1) for n in range(count))


def talk_test(number: int, easy_top: int, count: int) -> str:
    """What talking feels like in a zone, in words (talk test: common practice, no source)."""
    if number <= easy_top:
        return (
            "very easy: you could sing a line"
            if number < easy_top
            else "easy: whole sentences, without stopping for breath"
        )
    if number == count and count > easy_top + 1:
        return "very hard: no talking"
    if number == easy_top + 1 and count > easy_top + 1:
        return "steady: short sentences, and you would rather not"
    return "hard: a few words at a time"


def half_up(value: float) -> int:
    """The nearest whole number, halves upwards, unmoved by the last digits of binary fractions."""
    return math.floor(round(value, 6) + 0.5)


def scheme_to_json(scheme: Scheme) -> dict[str, Any]:
    """The scheme as plain values for JSON."""
    return dict(vars(scheme))


def scheme_from_json(values: Mapping[str, Any]) -> Scheme:
    """The scheme of `scheme_to_json`; raises DawnbeatError when it is none."""
    try:
        return Scheme(
            values["method"],
            tuple(float(each) for each in values["boundaries_pct"]),
            tuple(str(each) for each in values["names"]),
            int(values["easy_top"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise DawnbeatError("these zones can't be read: set them again with `dawnbeat zones --save`") from error


def zones_to_json(found: Zones) -> dict[str, Any]:
    """The zones as plain values for JSON."""
    return {
        **scheme_to_json(found.scheme),
        "top_of_easy_bpm": found.top_of_easy_bpm,
        "zones": [
            {
                "number": zone.number,
                "name": zone.name,
                "low_bpm": zone.low_bpm,
                "high_bpm": zone.high_bpm,
                "says": zone.says,
            }
            for zone in found.table()
        ],
    }


def _pulse_at(anchors: Anchors, method: Method, share_pct: float) -> float:
    resting, maximum, threshold = anchors.resting_bpm, anchors.maximum_bpm, anchors.threshold_bpm
    if method == "heart-rate reserve" and resting is not None and maximum is not None:
        return resting + (maximum - resting) * share_pct / 100
    anchor = threshold if method == "threshold pulse" else maximum
    assert anchor is not None
    return anchor * share_pct / 100


def _check(what: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:
        raise DawnbeatError(f"a {what} of {value:g} bpm can't be right: give {low:g} to {high:g}")


def _list(values: Sequence[float]) -> str:
    return ", ".join(f"{each:g}" for each in values)
