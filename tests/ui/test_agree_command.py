from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.recording import write_recording
from dawnbeat.shared.trace import FloatArray
from tests.ui.command_line import CommandLine, rendered

KEYS = {
    *("lag_s", "matched_beats", "matched_share_a", "matched_share_b", "intervals", "interval_mean_absolute_ms"),
    *("interval_sd_ms", "interval_p95_ms", "interval_bias_ms", "limits_of_agreement_ms", "rmssd_a_ms", "rmssd_b_ms"),
    *("mean_hr_a_bpm", "mean_hr_b_bpm"),
    *("doubtful", "verdict", "verdict_words"),
}
LITTLE = "They have little in common"


@pytest.fixture(scope="module")
def hands(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One heart seen by cameras that start at different times, named by the second at which they start."""
    folder = tmp_path_factory.mktemp("hands")
    for camera, starts_s in enumerate((20.0, 22.5, 78.4), start=1):
        trace, beats_s = rendered(3, 120.0, starts_s, camera)
        write_recording(folder / f"{starts_s:g}", trace, {}, beats_s)
    return folder


def _list(path: Path, values: FloatArray) -> Path:
    path.write_text("".join(f"{value:.6f}\n" for value in values))
    return path


@pytest.mark.parametrize(("a", "b"), [("20", "22.5"), ("22.5", "20"), ("20", "78.4"), ("78.4", "20")])
def test_two_cameras_on_one_heart_agree_whichever_starts_first(cli: CommandLine, hands: Path, a: str, b: str) -> None:
    (found,) = cli("agree", "--json", hands / a, hands / b).objects()
    assert set(found) == KEYS
    assert found["doubtful"] is False
    assert found["verdict"] == "one_heart"
    assert found["lag_s"] == pytest.approx(float(a) - float(b), abs=0.01)
    assert min(found["matched_share_a"], found["matched_share_b"]) > 0.97
    assert found["interval_mean_absolute_ms"] < 3.0
    assert found["rmssd_a_ms"] == pytest.approx(found["rmssd_b_ms"], rel=0.05)
    assert found["mean_hr_a_bpm"] == pytest.approx(found["mean_hr_b_bpm"], abs=0.2)
    shown = cli("agree", hands / a, hands / b).fine()
    assert LITTLE not in shown
    assert f"{found['interval_mean_absolute_ms']:.2f} ms" in shown


def test_a_recording_agrees_with_its_true_beats_and_with_its_true_intervals(
    cli: CommandLine, hands: Path, place: Path
) -> None:
    true_s = np.loadtxt(hands / "20" / "beats.csv", skiprows=1)
    intervals = _list(place / "rr.txt", np.diff(true_s) * 1000)
    late = _list(place / "late.txt", true_s + 41.0)
    (found,) = cli("agree", "--json", hands / "20", hands / "20" / "beats.csv").objects()
    assert abs(found["lag_s"]) < 0.05
    assert found["interval_p95_ms"] < 5.0
    (found,) = cli("agree", "--json", intervals, late).objects()
    assert found["lag_s"] == pytest.approx(true_s[0] + 41.0, abs=0.01)
    assert found["interval_mean_absolute_ms"] < 0.01
    (found,) = cli("agree", "--json", late, hands / "20").objects()
    assert found["lag_s"] == pytest.approx(-41.0, abs=0.05)


def test_a_known_lag_is_taken_as_it_is(cli: CommandLine, hands: Path) -> None:
    (found,) = cli("agree", "--json", "--lag", -2.5, hands / "20", hands / "22.5").objects()
    assert found["lag_s"] == -2.5
    assert found["matched_share_a"] > 0.97


def test_two_hearts_are_told_to_have_little_in_common(cli: CommandLine, place: Path) -> None:
    for name, seed in (("a", 5), ("b", 11), ("c", 17)):
        _, beats_s = rendered(seed, 120.0)
        _list(place / name, beats_s)
    for a, b in (("a", "b"), ("b", "c"), ("c", "a")):
        assert LITTLE in cli("agree", a, b).fine()
    (found,) = cli("agree", "--json", "a", "b").objects()
    assert (found["doubtful"], found["verdict"]) == (True, "doubtful")
    assert found["verdict_words"].startswith(LITTLE)


def test_a_picture_of_the_differences_is_written(cli: CommandLine, hands: Path, place: Path) -> None:
    cli("agree", "--plot", "both.png", hands / "20", hands / "22.5").fine()
    assert (place / "both.png").read_bytes().startswith(b"\x89PNG")


def test_lists_far_apart_have_no_beats_in_common(cli: CommandLine, place: Path) -> None:
    near = _list(place / "near.txt", np.arange(20) * 1.0)
    far = _list(place / "far.txt", 500.0 + np.arange(20) * 1.0)
    assert "more than 60 s apart" in cli("agree", near, far).refused()
    assert "no beats in common" in cli("agree", "--lag", 1000, near, far).refused()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time_s\n1\n2\nthree\n4\n", "line 4: 'three' is not a number"),
        ("1.0\nnan\n3.0\n4.0\n", "line 2: 'nan' is not a number"),
        ("1.0\n2.0\n", "at least 3"),
        ("time_s\n", "neither a list of beats"),
        ("5\n4\n5\n4\n5\n", "neither a list of beats"),
        ("-800\n-900\n-800\n", "neither a list of beats"),
        ("1\n2\n2\n3\n", "neither a list of beats"),
        ("", "is empty"),
        ("time_s,red,green\n0,1,2\n", "column blue is missing"),
        ("\x01\x02\n", "neither a list of beats"),
    ],
)
def test_a_list_that_is_none_gets_one_line(cli: CommandLine, place: Path, hands: Path, text: str, words: str) -> None:
    (place / "list.txt").write_text(text)
    assert words in cli("agree", "list.txt", hands / "20" / "beats.csv").refused()
    assert words in cli("agree", hands / "20" / "beats.csv", "list.txt").refused()


@pytest.mark.parametrize("name", ["missing.csv", "nan.csv", "one second.csv", "text.avi", "nothing inside"])
def test_a_recording_without_beats_gets_one_line(cli: CommandLine, samples: Path, name: str) -> None:
    assert name.split(".")[0] in cli("agree", samples / "calm", samples / name).refused()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--lag", "nan"), "--lag nan is no time"),
        (("--max-lag", "nan"), "--max-lag nan is out of range"),
        (("--max-lag", "0"), "--max-lag 0 is out of range"),
        (("--plot", "no such folder/x.png"), "there is no folder"),
        (("--settings", "missing.toml"), "can't read the settings"),
    ],
)
def test_a_mistaken_option_gets_one_line(cli: CommandLine, samples: Path, options: tuple[str, ...], words: str) -> None:
    assert words in cli("agree", samples / "calm", samples / "calm.csv", *options).refused()


def test_json_holds_no_more_than_it_knows(cli: CommandLine, place: Path) -> None:
    """Three beats with one interval in common: no spread, no percentile that pretends."""
    _list(place / "a", np.array([0.0, 1.0, 2.0]))
    _list(place / "b", np.array([0.01, 1.02, 2.4]))
    (found,) = cli("agree", "--json", "--lag", 0, "a", "b").objects()
    assert found["matched_beats"] == 2
    assert found["intervals"] == 1
    assert found["interval_sd_ms"] is None
    assert json.dumps(found)
