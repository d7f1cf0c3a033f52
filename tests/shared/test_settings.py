"""Settings hold to their ranges, and a file of them reads back as what was written."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings, settings_from_toml, settings_to_toml

NUMBERS = [parameter for parameter in dataclasses.fields(Settings) if "choices" not in parameter.metadata]


def by_name(parameter) -> str:
    return parameter.name


@pytest.mark.parametrize("parameter", NUMBERS, ids=by_name)
def test_every_number_has_a_range_a_meaning_and_a_default_within(parameter):
    about = parameter.metadata
    assert about["low"] < about["high"]
    assert about["low"] <= parameter.default <= about["high"]
    assert about["meaning"]
    assert isinstance(about["unit"], str)


@pytest.mark.parametrize("parameter", NUMBERS, ids=by_name)
def test_the_ends_of_a_range_are_allowed_and_what_lies_beyond_is_not(parameter):
    low, high = parameter.metadata["low"], parameter.metadata["high"]
    for value in (low, high):
        assert getattr(Settings(**{parameter.name: value}), parameter.name) == value
    width = high - low
    for value in (low - 0.01 * width, high + 0.01 * width, float("nan"), float("inf"), -float("inf")):
        with pytest.raises(DawnbeatError, match=parameter.name) as caught:
            Settings(**{parameter.name: value})
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize("value", ["0.3", None, True, [0.3]])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(DawnbeatError, match="max_gap_s"):
        Settings(max_gap_s=value)


@pytest.mark.parametrize("value", ["infrared", "", "RED", 1, None])
def test_a_channel_that_does_not_exist_is_refused_with_those_that_do(value):
    with pytest.raises(DawnbeatError, match="auto, red, green, blue"):
        Settings(channel=value)


@settings(max_examples=40)
@given(data=st.data())
def test_settings_read_back_as_they_were_written(data, tmp_path_factory):
    values = {"channel": data.draw(st.sampled_from(["auto", "red", "green", "blue"]))}
    for parameter in NUMBERS:
        values[parameter.name] = data.draw(st.floats(parameter.metadata["low"], parameter.metadata["high"]))
    try:
        chosen = Settings(**values)
    except DawnbeatError:
        # Two settings may contradict each other, such as cut-offs of a band; that is said before anything is written.
        return
    path = tmp_path_factory.mktemp("settings") / "settings.toml"
    path.write_text(settings_to_toml(chosen), encoding="utf-8")
    assert settings_from_toml(path) == chosen


def test_the_written_file_explains_every_setting(tmp_path):
    text = settings_to_toml(Settings())
    for parameter in dataclasses.fields(Settings):
        assert f"\n{parameter.name} = " in f"\n{text}"
        assert f"# {parameter.metadata['meaning']}" in text


def test_what_a_file_leaves_out_keeps_its_default(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text("max_gap_s = 0.3\nlowest_bpm = 40\n")
    assert settings_from_toml(path) == Settings(max_gap_s=0.3, lowest_bpm=40)
    path.write_text("")
    assert settings_from_toml(path) == Settings()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"max_gap = 0.3\n", "max_gap"),
        (b"max_gap_s = 99\n", "max_gap_s"),
        (b'max_gap_s = "wide"\n', "max_gap_s"),
        (b"max_gap_s = nan\n", "max_gap_s"),
        (b"[detection]\nmax_gap_s = 0.2\n", "detection"),
        (b"max_gap_s 0.2\n", "TOML"),
        (b"\xff\xfe\x00", "TOML"),
    ],
)
def test_a_bad_settings_file_is_one_line_that_says_what_is_wrong(tmp_path, content, says):
    path = tmp_path / "settings.toml"
    path.write_bytes(content)
    with pytest.raises(DawnbeatError, match=says) as caught:
        settings_from_toml(path)
    assert "\n" not in str(caught.value)


def test_a_missing_settings_file_is_named(tmp_path):
    with pytest.raises(DawnbeatError, match=r"nowhere\.toml"):
        settings_from_toml(tmp_path / "nowhere.toml")
    with pytest.raises(DawnbeatError):
        settings_from_toml(tmp_path)
