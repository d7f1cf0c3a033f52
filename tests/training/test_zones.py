from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.zones import (
    METHODS,
    Anchors,
    Scheme,
    compare,
    default_scheme,
    half_up,
    scheme_from_json,
    scheme_to_json,
    zones,
)
from tests.training.invented import plain_zones


def test_the_zones_join_without_a_hole_or_an_overlap() -> None:
    table = plain_zones().table()
    assert [zone.name for zone in table] == ["zone 1", "zone 2", "zone 3", "zone 4", "zone 5"]
    assert [(zone.low_bpm, zone.high_bpm) for zone in table] == [
        (None, 134),
        (135, 148),
        (149, 162),
        (163, 176),
        (177, None),
    ]


def test_a_pulse_on_a_boundary_belongs_to_the_zone_below() -> None:
    found = plain_zones()
    assert found.top_of_easy_bpm == 148
    assert [found.number_of(pulse) for pulse in (40, 134, 135, 148, 148.49, 148.5, 230)] == [1, 1, 2, 2, 2, 3, 5]


@pytest.mark.parametrize(("value", "whole"), [(148.5, 149), (148.49, 148), (147.9999999, 148), (149.49999999, 150)])
def test_halves_go_up_whatever_the_binary_fraction(value: float, whole: int) -> None:
    assert half_up(value) == whole


@given(
    resting=st.floats(30, 100),
    reserve=st.floats(101, 140),
    bounds=st.lists(st.integers(20, 100), min_size=1, max_size=8, unique=True).map(sorted),
    pulse=st.floats(25, 240),
)
def test_every_pulse_lies_in_exactly_one_zone(resting: float, reserve: float, bounds: list[int], pulse: float) -> None:
    # A reserve of 100 beats and more leaves a beat between whole per cents.
    found = zones(
        Anchors(resting, resting + reserve), Scheme("heart-rate reserve", tuple(map(float, bounds)), easy_top=1)
    )
    inside = [
        zone.number
        for zone in found.table()
        if (zone.low_bpm is None or zone.low_bpm <= half_up(pulse))
        and (zone.high_bpm is None or half_up(pulse) <= zone.high_bpm)
    ]
    assert inside == [found.number_of(pulse)]


def test_any_number_of_zones_with_names_and_a_top_of_easy_of_ones_own() -> None:
    scheme = Scheme("share of maximum", (75, 85), ("gentle", "brisk", "racing"), easy_top=1)
    found = zones(Anchors(maximum_bpm=200), scheme)
    assert found.tops_bpm == (150, 170)
    assert found.top_of_easy_bpm == 150
    assert [zone.name for zone in found.table()] == ["gentle", "brisk", "racing"]
    assert scheme_from_json(json.loads(json.dumps(scheme_to_json(scheme)))) == scheme


def test_the_methods_stand_side_by_side_with_their_difference() -> None:
    reserve, share, threshold = compare(Anchors(50, 190, 170))
    assert [row.method for row in (reserve, share, threshold)] == list(METHODS)
    assert reserve.difference_bpm == 0
    assert share.zones is not None
    # 84 % of 190, the share of the maximum that is the effort of 70 % of the reserve in the average runner.
    assert share.zones.top_of_easy_bpm == 160
    assert share.difference_bpm == 160 - 148
    assert threshold.zones is not None
    assert threshold.zones.tops_bpm == (145, 153, 162, 170)


def test_a_method_without_its_pulse_says_what_it_needs() -> None:
    reserve, share, threshold = compare(Anchors(maximum_bpm=190))
    assert (reserve.zones, reserve.missing) == (None, "a resting pulse")
    assert share.difference_bpm == 0
    assert threshold.missing == "a threshold pulse"
    with pytest.raises(DawnbeatError, match="need a resting pulse and a maximum"):
        zones(Anchors(), default_scheme("heart-rate reserve"))


@pytest.mark.parametrize(
    ("anchors", "said"),
    [
        ({"resting_bpm": 20}, "25 to 120"),
        ({"maximum_bpm": 300}, "100 to 240"),
        ({"resting_bpm": float("nan")}, "can't be right"),
        ({"resting_bpm": 110, "maximum_bpm": 120}, "less than 30 beats above"),
        ({"maximum_bpm": 180, "threshold_bpm": 185}, "not below the maximum"),
    ],
)
def test_pulses_that_cant_be_are_refused(anchors: dict[str, float], said: str) -> None:
    with pytest.raises(DawnbeatError, match=said) as caught:
        Anchors(**anchors)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"boundaries_pct": ()}, "give 1 to 11"),
        ({"boundaries_pct": (70, 60)}, "do not rise"),
        ({"boundaries_pct": (60, 120)}, "at most at 100 %"),
        ({"boundaries_pct": (60, float("nan"))}, "at most at 100 %"),
        ({"boundaries_pct": (60, 70), "names": ("one", "two")}, "2 names for 3 zones"),
        ({"boundaries_pct": (60, 70), "names": ("one", " ", "three")}, "name is empty"),
        ({"boundaries_pct": (60, 70), "easy_top": 3}, "choose a zone from 1 to 2"),
    ],
)
def test_a_scheme_that_cant_be_is_refused(values: dict[str, object], said: str) -> None:
    with pytest.raises(DawnbeatError, match=said):
        Scheme("heart-rate reserve", **values)  # type: ignore[arg-type]


def test_zones_of_less_than_a_beat_are_refused() -> None:
    with pytest.raises(DawnbeatError, match="less than one beat apart"):
        zones(Anchors(100, 140), Scheme("heart-rate reserve", (60, 61, 62)))


def test_damaged_stored_zones_are_named() -> None:
    with pytest.raises(DawnbeatError, match="set them again"):
        scheme_from_json({"method": "heart-rate reserve"})
