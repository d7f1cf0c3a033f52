from __future__ import annotations

import io
import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from dawnbeat.ui.commands import pulses
from dawnbeat.ui.main import run


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(["pulse", *arguments]) == 0
    return capsys.readouterr().out


def test_three_mornings_counted_are_a_resting_pulse_and_enough_for_zones(capsys: pytest.CaptureFixture[str]) -> None:
    days = [(date.today() - timedelta(days=back)).isoformat() for back in (2, 1, 0)]
    assert "1 of 3 mornings" in said(capsys, "26", "--date", days[0])
    said(capsys, "25", "--date", days[1])
    # 52, 50 and 48 bpm.
    assert "50 bpm, mean of 3 counts by hand" in said(capsys, "24", "--date", days[2])
    found = json.loads(said(capsys, "--list", "--json"))
    assert (found["hand_count_bpm"], found["used_bpm"], len(found["counts"])) == (50, 50, 3)
    assert f"{days[0]}  26 beats in 30 s, 52 bpm" in said(capsys, "--list")
    assert run(["runs", "maximum", "add", "190", "--kind", "hill repeats"]) == 0
    assert run(["zones"]) == 0
    # 50 + 0.7 * 140.
    assert "Top of easy: 148 bpm." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said_to"),
    [
        (["3"], "give the whole number counted"),
        (["26", "--date", (date.today() + timedelta(days=1)).isoformat()], "in the future"),
        ([], "nobody is there to count"),
    ],
)
def test_what_cant_be_a_count_is_refused(
    arguments: list[str], said_to: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert run(["pulse", *arguments]) == 2
    assert said_to in capsys.readouterr().err


def test_the_timer_asks_for_the_number_when_it_ends(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter(["", 27])
    monkeypatch.setattr(pulses, "COUNT_S", 0)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("typer.prompt", lambda *_, **__: next(answers))
    assert "54 bpm" in said(capsys)
