from __future__ import annotations

import json
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import invented_analysis
from dawnbeat.shared.morning import Circumstances
from dawnbeat.training import zone_store
from dawnbeat.training.maximum import Maximum
from dawnbeat.training.resting import add_hand_count
from dawnbeat.ui.main import run
from tests.training.invented import zone_set


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(["zones", *arguments]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(["zones", *arguments]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    return line


def test_numbers_are_answered_at_once_and_no_journal_is_begun(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = said(capsys, "--resting", "50", "--maximum", "190")
    assert "135 to 148" in out
    assert "Top of easy: 148 bpm." in out
    assert "+12 bpm" in out
    assert "needs a threshold pulse" in out
    assert "Stop at once" in out
    assert not home.exists()


def test_the_quick_answer_needs_neither_numpy_nor_a_database() -> None:
    code = (
        "import sys\nfrom dawnbeat.ui.commands.zones import zones_command\n"
        "zones_command(resting=50, maximum=190, formula='tanaka', easy_top=2, sets=False, as_json=True)\n"
        "print(sorted({'numpy', 'scipy', 'sqlite3', 'cv2', 'PySide6'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_json_holds_the_methods_with_their_difference(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(said(capsys, "--resting", "50", "--maximum", "190", "--threshold", "170", "--json"))
    assert found["top_of_easy_bpm"] == 148
    assert [zone["high_bpm"] for zone in found["zones"]] == [134, 148, 162, 176, None]
    assert [row["difference_bpm"] for row in found["methods"]] == [0, 12, 5]
    assert found["cautions"]


def test_an_age_gives_a_maximum_with_its_error(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(said(capsys, "--resting", "50", "--age", "40", "--formula", "nes", "--json"))
    assert found["maximum_bpm"] == pytest.approx(185.4)
    assert any("standard error 10.8 bpm" in note for note in found["notes"])
    assert any("may be off by about 8 bpm" in note for note in found["notes"])


def test_a_threshold_alone_is_enough(capsys: pytest.CaptureFixture[str]) -> None:
    assert json.loads(said(capsys, "--threshold", "170", "--json"))["method"] == "threshold pulse"


def test_zones_can_be_cut_and_named_ones_own_way(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(
        said(
            capsys,
            *("--resting", "50", "--maximum", "190", "--boundaries", "65,80", "--names", "slow,middle,fast"),
            *("--easy-top", "1", "--json"),
        )
    )
    assert found["names"] == ["slow", "middle", "fast"]
    assert found["top_of_easy_bpm"] == 141


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["--resting", "50"], "need a maximum"),
        (["--resting", "50", "--maximum", "60"], "can't be right"),
        (["--resting", "50", "--maximum", "nan"], "can't be right"),
        (["--maximum", "190", "--boundaries", "a,b"], "give per cents"),
        (["--maximum", "190", "--method", "colour"], "say reserve, maximum, threshold"),
        (["--resting", "50", "--age", "40", "--formula", "mine"], "say tanaka, nes, gellish or fox"),
        (["--resting", "50", "--maximum", "190", "--save"], "leave the numbers out"),
        (["--resting", "fast"], "Invalid value for '--resting'"),
        ([], "does not hold a resting pulse and a maximum yet"),
        (["--sets"], "no zones are saved yet"),
        (["--resting", "50"], "give --maximum, or add one"),
        (["--age", "4"], "an age of 4 years can't be right"),
        (["--age", "111"], "an age of 111 years can't be right"),
    ],
)
def test_bad_input_is_one_line(home: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], why: str) -> None:
    assert why in refused(capsys, *arguments)


def test_zones_come_from_the_journal_are_kept_and_moved_on_proposal(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    today = date.today()
    with Journal.open(home) as journal:
        for back in range(3):
            add_hand_count(journal, today - timedelta(days=back), 29)
        zone_store.keep_zone_set(journal, zone_set(today - timedelta(days=30)))
        zone_store.add_maximum(journal, Maximum(today - timedelta(days=30), "race", 190), today - timedelta(days=30))
    found = json.loads(said(capsys, "--json"))
    assert (found["top_of_easy_bpm"], found["kept"]) == (148, True)
    assert found["proposal"]["moved_bpm"] == 2
    assert "`dawnbeat zones --save` uses it" in " ".join(said(capsys).split())
    kept = json.loads(said(capsys, "--save", "--json"))
    assert (kept["top_of_easy_bpm"], kept["from_date"], kept["proposal"]) == (150, today.isoformat(), None)
    sets = json.loads(said(capsys, "--sets", "--json"))["sets"]
    assert [each["top_of_easy_bpm"] for each in sets] == [148, 150]
    assert today.isoformat() in said(capsys, "--sets")


def test_a_child_is_told_that_the_formulas_were_made_for_adults(capsys: pytest.CaptureFixture[str]) -> None:
    assert "the formulas were made for adults" in " ".join(said(capsys, "--age", "12").split())
    assert "made for adults" not in " ".join(said(capsys, "--age", "40").split())


def test_a_resting_pulse_alone_is_joined_by_the_maximum_of_the_journal(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused(capsys, "--resting", "50")
    assert not home.exists()
    with Journal.open(home) as journal:
        zone_store.add_maximum(journal, Maximum(date.today(), "race", 190), date.today())
    found = json.loads(said(capsys, "--resting", "50", "--json"))
    assert (found["maximum_bpm"], found["top_of_easy_bpm"]) == (190, 148)
    assert "The maximum is that of the journal" in found["notes"][0]


def test_what_the_journal_lacks_is_counted_and_what_it_has_is_not_asked_for(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Journal.open(home) as journal:
        zone_store.add_maximum(journal, Maximum(date.today(), "race", 190), date.today())
        for back, moved in ((1, False), (2, True)):
            day = date.today() - timedelta(days=back)
            taken = Circumstances(datetime(day.year, day.month, day.day, 6, 30, tzinfo=UTC), "lying", "invented camera")
            journal.save(taken, invented_analysis(4.0, 50.0, np.random.default_rng(1), moved=moved))
    line = refused(capsys)
    assert "needs 3 usable mornings lying within 42 days, there are 1" in line
    assert "add a maximum" not in line
