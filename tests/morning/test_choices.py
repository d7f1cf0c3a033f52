from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import Choices, ChoiceStore, chosen_ranges, config_folder, home_to_open, open_journal
from dawnbeat.shared.errors import DawnbeatError


@pytest.fixture(autouse=True)
def _own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "home"))


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


@pytest.mark.parametrize(
    "damaged",
    [
        "",
        "{",
        "[1, 2]",
        "\x00\x01",
        '{"text_percent": 5000}',
        '{"ranges": {"week_days": 99}}',
        '{"posture": "hanging"}',
    ],
)
def test_a_damaged_file_is_named_with_the_way_out_and_left_as_it_is(store: ChoiceStore, damaged: str) -> None:
    store.folder.mkdir()
    store.path.write_text(damaged)
    with pytest.raises(DawnbeatError, match="move it away") as told:
        store.load()
    assert str(store.path) in str(told.value)
    assert "\n" not in str(told.value)
    assert store.path.read_text() == damaged


def test_the_place_on_the_screen_is_no_reason_to_refuse(store: ChoiceStore) -> None:
    store.folder.mkdir()
    (store.folder / "place.json").write_text("{")
    assert store.load_state() == {}


def test_a_longer_history_than_can_be_chosen_today_becomes_the_longest(store: ChoiceStore) -> None:
    store.folder.mkdir(parents=True, exist_ok=True)
    store.path.write_text('{"ranges": {"history_days": 180}}')
    assert store.load().range_settings.history_days == 90


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
        {"ranges": {"history_days": "many"}},
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
    assert config_folder() == home_to_open(chosen) == tmp_path / "home"
    monkeypatch.delenv("DAWNBEAT_HOME")
    Journal.open(tmp_path / "chosen").close()
    assert home_to_open(chosen) == tmp_path / "chosen"
    assert home_to_open(chosen, tmp_path / "asked") == tmp_path / "asked"
    assert config_folder() != tmp_path / "home"


@pytest.mark.parametrize("mounted", [False, True])
def test_a_chosen_journal_that_is_not_there_is_never_begun_anew(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, mounted: bool
) -> None:
    """The folder of a disk that is not mounted is missing, or is there and empty."""
    away = tmp_path / "disk"
    if mounted:
        away.mkdir()
    monkeypatch.setattr("dawnbeat.morning.choices.ChoiceStore.load", lambda _: Choices(journal=str(away)))
    monkeypatch.delenv("DAWNBEAT_HOME")
    with pytest.raises(DawnbeatError, match="connect its disk") as told:
        open_journal(None)
    assert str(away) in str(told.value)
    assert not away.exists() or not list(away.iterdir())


@pytest.mark.parametrize("where", ["~nosuch/x", "~no such\0name/x"])
def test_a_home_that_nobody_has_is_one_line(monkeypatch: pytest.MonkeyPatch, where: str) -> None:
    with pytest.raises(DawnbeatError, match="can't be a folder"):
        open_journal(Path(where), new=True)
    if "\0" not in where:
        monkeypatch.setenv("DAWNBEAT_HOME", where)
        with pytest.raises(DawnbeatError, match="DAWNBEAT_HOME"):
            open_journal(None)


def test_the_windows_of_the_range_are_those_on_disk() -> None:
    ChoiceStore().save(Choices(ranges={"week_days": 5}))
    assert chosen_ranges().week_days == 5


def test_a_file_that_the_system_refuses_is_named_in_plain_words(
    store: ChoiceStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, *_: object, **__: object) -> str:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_text", refuse)
    with pytest.raises(DawnbeatError, match=r"\(Permission denied\)") as caught:
        store.load()
    assert "Errno" not in str(caught.value)
