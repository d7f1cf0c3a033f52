"""A few of each kind of light that could fool the verdict; `tests/benchmarks/adversaries.py` draws and counts more."""

from __future__ import annotations

import pytest

from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.origin import Origin
from dawnbeat.signal.verdict import moved_by_blood
from tests.benchmarks.adversaries import FAMILIES, Family, draw, outcome

SEED = 7
BY_NAME = {family.name: family for family in FAMILIES}
# What only the sane families hold against: too many refused.
SANE = [family for family in FAMILIES if family.kind == "sane"]
# A lamp, a shadow, a screen or the exposure, without a pulse: nothing of it may be used, whatever the rhythm.
LIGHTS = [name for name in BY_NAME if name.endswith(", no pulse") and not name.startswith("one colour")]
CLOCKS = [
    *("stamps that wander", "stamps that are late", "frames in bursts", "stamps of a coarse clock"),
    *("frames lost and late", "repeated frames", "24 frames sent as 30"),
    *("an unsteady camera, stamps true", "an unsteady camera, stamps late"),
]


@pytest.mark.parametrize("family", [each for each in FAMILIES if each.kind == "disturbed"], ids=lambda each: each.name)
def test_no_disturbed_reading_gives_a_wrong_figure(family: Family) -> None:
    reading = draw(family, SEED, 0)
    found = outcome(reading, analyse(reading.trace))
    assert not found.wrong, found


@pytest.mark.parametrize("name", LIGHTS)
def test_light_that_no_blood_moved_is_never_used(name: str) -> None:
    for number in (1, 2):
        verdict = analyse(draw(BY_NAME[name], SEED, number).trace).verdict
        assert not verdict.usable
        assert not verdict.pulse_usable


@pytest.mark.parametrize("name", CLOCKS)
def test_a_bad_clock_gives_a_right_figure_or_none(name: str) -> None:
    for number in (1, 2):
        reading = draw(BY_NAME[name], SEED, number)
        assert not outcome(reading, analyse(reading.trace)).wrong


def test_of_an_unsteady_camera_that_says_so_truly_the_figure_is_right_whether_used_or_not() -> None:
    # On a steady clock most of these are off by half.
    for number in range(12):
        reading = draw(BY_NAME["an unsteady camera, stamps true"], SEED, number)
        assert analyse(reading.trace).metrics.rmssd_ms == pytest.approx(reading.rmssd_ms, rel=0.1)


def test_sane_readings_are_mostly_usable_and_right() -> None:
    found = []
    for family in SANE:
        if family.name != "fast heart, any wave":
            reading = draw(family, SEED, 0)
            found.append(outcome(reading, analyse(reading.trace)))
    assert not any(each.wrong for each in found)
    assert sum(each.usable for each in found) >= 0.85 * len(found)


@pytest.mark.parametrize("name", ["dicrotic, of parts", "stiff vessels"])
def test_a_fall_that_only_bends_is_no_second_beat(name: str) -> None:
    for number in range(1, 5):
        found = outcome(reading := draw(BY_NAME[name], SEED, number), analyse(reading.trace))
        assert found.usable, found
        assert not found.wrong


@pytest.mark.parametrize("name", ["bigeminy, hardly felt", "every second beat hardly felt"])
def test_a_weak_beat_after_each_beat_is_one_however_weak(name: str) -> None:
    for number in range(1, 4):
        verdict = analyse(draw(BY_NAME[name], SEED, number).trace).verdict
        assert not verdict.pulse_usable
        assert "half_or_double" in {finding.code for finding in verdict.findings}


@pytest.mark.parametrize("name", ["amber lamp, no pulse", "one colour: a fading lamp, no pulse"])
def test_a_lamp_that_fades_as_steeply_as_a_pulse_is_a_lamp(name: str) -> None:
    for number in range(3, 11):
        verdict = analyse(draw(BY_NAME[name], SEED, number).trace).verdict
        assert not verdict.usable
        assert not verdict.pulse_usable


@pytest.mark.parametrize(
    ("red", "blue", "blood"),
    [
        (0.6, 0.7, True),
        (None, 0.7, True),
        (1.28, 1.03, None),  # seen of a finger that nods with its beats
        (1.8, 0.6, None),
        (1.28, 0.3, False),
        (1.28, 0.0, False),
        (0.9, 1.17, False),  # a glowing wire
        (0.8, 0.1, None),
        (1.01, 0.99, False),
        (None, None, None),
    ],
)
def test_what_the_colours_say(red: float | None, blue: float | None, blood: bool | None) -> None:
    assert moved_by_blood(Origin(red_share=red, blue_share=blue), 3.0) is blood


def test_one_living_colour_is_used_and_said_to_be_unchecked() -> None:
    verdict = analyse(draw(BY_NAME["one colour"], SEED, 0).trace).verdict
    assert verdict.usable
    assert "colour_unchecked" in {finding.code for finding in verdict.findings}
