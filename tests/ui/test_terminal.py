from __future__ import annotations

import dataclasses
import io

import pytest
from rich.console import Console

from dawnbeat.shared.reading import Analysis
from dawnbeat.ui.terminal import NOT_MEDICAL, console, reading
from tests.ui.invented_analysis import eight_beats, no_beats


def _shown(analysis: Analysis, width: int = 100, name: str = "invented") -> list[str]:
    out = io.StringIO()
    Console(file=out, width=width, markup=False).print(reading(name, analysis))
    return [line.rstrip() for line in out.getvalue().splitlines()]


def _row(lines: list[str], title: str) -> str:
    (found,) = [" ".join(line.split()) for line in lines if line.strip().startswith(f"{title} ")]
    return found


def test_each_figure_has_its_unit_and_its_interval() -> None:
    lines = _shown(eight_beats())
    assert _row(lines, "resting pulse").endswith("60.0 59.5 to 60.5 bpm")
    assert _row(lines, "RMSSD") == "RMSSD 42.3 30.0 to 55.0 ms"
    assert _row(lines, "SDNN") == "SDNN 40.0 ms"
    assert _row(lines, "shortest NN") == "shortest NN 951 ms"
    assert _row(lines, "longest NN") == "longest NN 1049 ms"
    assert _row(lines, "pNN50") == "pNN50 33.3 %"
    assert _row(lines, "timing error of a beat").endswith("1.2 ms")
    assert not any(line.strip().startswith("SD1") for line in lines)  # was not computed
    assert any("8 beats kept; 6 of 7 intervals count; left out: 1 movement" in line for line in lines)


def test_the_verdict_comes_first_in_words_with_its_reasons() -> None:
    assert _shown(eight_beats())[1:3] == ["usable", "  three ways of counting agree"]
    bad = eight_beats(False)
    lines = _shown(dataclasses.replace(bad, verdict=dataclasses.replace(bad.verdict, pulse_usable=False)))
    assert lines[1:3] == ["NOT USABLE", "  because the finger moved, mostly from 0:03 to 0:05"]
    assert any("not to be relied on" in line for line in lines)


def test_a_pulse_that_may_be_used_is_told_from_a_variability_that_may_not() -> None:
    analysis = eight_beats()
    for irregular in (False, True):
        verdict = dataclasses.replace(analysis.verdict, usable=False, irregular=irregular)
        lines = _shown(dataclasses.replace(analysis, verdict=verdict))
        assert lines[1].endswith("resting pulse usable, variability NOT USABLE")
        assert ("irregularly" in lines[1]) == irregular
        assert any("figures of variability below" in line for line in lines)


def test_where_nothing_was_found_no_figure_is_shown() -> None:
    lines = _shown(no_beats())
    assert not any("bpm" in line or "RMSSD" in line for line in lines)
    assert any("0 beats kept" in line for line in lines)


@pytest.mark.parametrize("width", [80, 120])
def test_a_reading_fits_the_terminal(width: int) -> None:
    long = dataclasses.replace(eight_beats(), channel="mix of red 50 %, green 30 %, blue 20 %")
    assert max(len(line) for line in _shown(long, width)) <= width


def test_brackets_in_a_name_are_letters(capsys: pytest.CaptureFixture[str]) -> None:
    console().print(reading("[red]run[/red] [1]", eight_beats()))
    console().print("[bold]morning[/bold]")
    out = capsys.readouterr().out
    assert "[red]run[/red] [1]" in out
    assert "[bold]morning[/bold]" in out


def test_the_caution_says_when_to_see_a_doctor() -> None:
    assert "Not a medical device" in NOT_MEDICAL
    assert "doctor" in NOT_MEDICAL
