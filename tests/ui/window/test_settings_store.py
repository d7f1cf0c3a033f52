from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import pytest

from dawnbeat.morning.choices import Choices, ChoiceStore, config_folder, home_to_open
from dawnbeat.shared.errors import DawnbeatError


@pytest.fixture
def store(tmp_path: Path) -> ChoiceStore:
    return ChoiceStore(tmp_path / "config")


def test_choices_come_back_as_they_were_kept(store: ChoiceStore) -> None:
    chosen = Choices(
        "stream", 2, "http://10.0.0.9/video", 300, "sitting", True, "dark", 150, "", True, {"week_days": 5}
    )
    store.save(chosen)
    assert ChoiceStore(store.folder).load() == chosen


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_the_file_is_the_users_alone(store: ChoiceStore) -> None:
    store.save(Choices())
    assert stat.S_IMODE(store.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(store.folder.stat().st_mode) == 0o700


def test_nothing_kept_yet_gives_the_usual_choices(store: ChoiceStore) -> None:
    assert store.load() == Choices()
    assert store.trouble is None


@pytest.mark.parametrize("damaged", ["", "{", "[1, 2]", "\x00\x01", '{"theme": "dark", "text_percent": 5000}'])
def test_a_damaged_file_costs_only_what_cannot_be_read(store: ChoiceStore, damaged: str) -> None:
    store.folder.mkdir()
    store.path.write_text(damaged)
    choices = store.load()
    assert choices.text_percent == 100
    assert choices.theme == ("dark" if "dark" in damaged else "system")
    assert store.path.read_text() == damaged


def test_a_choice_of_a_newer_version_is_passed_over(store: ChoiceStore) -> None:
    store.folder.mkdir()
    store.path.write_text(json.dumps({"theme": "light", "perfume": "lavender"}))
    assert store.load() == Choices(theme="light")


@pytest.mark.parametrize(
    "wrong",
    [
        {"theme": "sepia"},
        {"duration_s": 90},
        {"duration_s": True},
        {"posture": "hanging"},
        {"camera": -1},
        {"text_percent": 99},
        {"tone": 1},
        {"source": "telescope"},
        {"ranges": []},
    ],
)
def test_a_value_that_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(DawnbeatError):
        Choices(**wrong)  # type: ignore[arg-type]


def test_the_source_is_said_in_the_words_that_open_it() -> None:
    assert Choices(camera=3).source_words == "camera:3"
    assert Choices(source="stream", stream=" rtsp://10.0.0.9/a ").source_words == "rtsp://10.0.0.9/a"
    assert Choices(source="rehearsal").source_words == "rehearsal"


def test_the_variable_goes_before_the_chosen_place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    chosen = Choices(journal=str(tmp_path / "chosen"))
    assert config_folder() == tmp_path / "home"
    assert home_to_open(chosen) is None
    monkeypatch.delenv("DAWNBEAT_HOME")
    assert home_to_open(chosen) == tmp_path / "chosen"
    assert home_to_open(chosen, tmp_path / "asked") == tmp_path / "asked"
    assert config_folder() != tmp_path / "home"
