from __future__ import annotations

import gzip
import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.capture.recording import read_recording, write_recording
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import Trace

HEADER = "time_s,red,green,blue\n"
GOOD = HEADER + "0.000000,50.1,40.2,30.3\n0.033333,50.2,40.3,30.4\n0.066667,50.3,40.4,30.5\n"


def trace(rows: int = 90) -> Trace:
    rng = np.random.default_rng(5)
    time_s = np.round(np.arange(rows) / 30.0, 6)
    colour = np.round(rng.uniform(20, 60, (rows, 3)), 5)
    return Trace(time_s, colour, np.full(rows, 0.975), np.linspace(0, 0.2, rows).round(4))


def csv(tmp_path: Path, text: str | bytes, name: str = "some.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def fault(path: Path) -> str:
    with pytest.raises(DawnbeatError) as caught:
        read_recording(path)
    message = str(caught.value)
    assert "\n" not in message
    assert str(path.name) in message
    return message


def test_what_is_written_reads_back_the_same(tmp_path: Path) -> None:
    beats_s = np.array([0.5, 1.4, 2.3])
    folder = write_recording(tmp_path / "one", trace(), {"camera": "invented"}, beats_s)
    recording = read_recording(folder)
    np.testing.assert_array_equal(recording.trace.time_s, trace().time_s)
    np.testing.assert_array_equal(recording.trace.colour, trace().colour)
    np.testing.assert_array_equal(recording.trace.covered, trace().covered)
    np.testing.assert_array_equal(recording.trace.clipped, trace().clipped)
    np.testing.assert_array_equal(recording.beats_s, beats_s)
    assert recording.about["camera"] == "invented"
    assert recording.about["format_version"] == 1
    assert recording.about["measured_rate_hz"] == pytest.approx(30.0, abs=0.01)
    assert (recording.name, recording.path, recording.notes) == ("one", folder, ())
    head, row = (folder / "trace.csv").read_text().splitlines()[:2]
    assert head == "time_s,red,green,blue,covered,clipped"
    assert [len(cell.split(".")[1]) for cell in row.split(",")] == [6, 5, 5, 5, 4, 4]


def test_a_folder_that_holds_something_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "precious").write_text("old")
    with pytest.raises(DawnbeatError, match="nothing is overwritten"):
        write_recording(tmp_path, trace(), {})
    assert (tmp_path / "precious").read_text() == "old"


@pytest.mark.skipif(os.name == "nt", reason="Windows has no modes")
def test_files_are_the_users_alone(tmp_path: Path) -> None:
    folder = write_recording(tmp_path / "one", trace(), {}, np.array([1.0]))
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()} == {0o600}
    assert {path.name for path in folder.iterdir()} == {"trace.csv", "about.json", "beats.csv"}


@pytest.mark.parametrize(
    "text",
    [
        GOOD,
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        GOOD.replace("\n", "\n\n"),
        "\n" + GOOD + "\n \n",
        GOOD.rstrip("\n"),
        GOOD.replace("time_s", ' "Time_s" '),
        "blue,green,time_s,red\n30.3,40.2,0,50.1\n30.4,40.3,0.033333,50.2\n30.5,40.4,0.066667,50.3\n",
        "note,time_s,red,green,blue,pad\nfine,0,50.1,40.2,30.3,1\n,0.033333,50.2,40.3,30.4,\nx,0.066667,50.3,40.4,30.5,z\n",
        GOOD.replace(",", ";"),
        GOOD.replace(",", "\t"),
        GOOD.replace(",", ";").replace(".", ","),
    ],
)
def test_harmless_differences_between_csv_files_make_none(tmp_path: Path, text: str) -> None:
    recording = read_recording(csv(tmp_path, text))
    np.testing.assert_allclose(recording.trace.time_s, [0, 0.033333, 0.066667])
    np.testing.assert_allclose(recording.trace.colour[1], [50.2, 40.3, 30.4])
    assert recording.about == {}
    assert recording.beats_s is None
    assert recording.notes == ()


def test_a_gzipped_csv_is_a_recording(tmp_path: Path) -> None:
    path = csv(tmp_path, gzip.compress(GOOD.encode(), mtime=0), "some.csv.gz")
    assert len(read_recording(path).trace) == 3


@pytest.mark.parametrize("tail", ["0.1", "0.100000,50.4", "0.100000,50.4,40.5,", "0.1,50,4x", "\0\0\0\0"])
def test_a_last_line_cut_short_is_left_out_with_a_note(tmp_path: Path, tail: str) -> None:
    recording = read_recording(csv(tmp_path, GOOD + tail))
    assert len(recording.trace) == 3
    assert bool(recording.notes) == ("\0" not in tail)


def test_the_recorders_own_unfinished_line_is_left_out_even_where_it_reads_well(tmp_path: Path) -> None:
    folder = write_recording(tmp_path / "one", trace(10), {})
    with (folder / "trace.csv").open("a") as file:
        file.write("0.400000,50.1,40.2,30.3,0.9,0.1")
    recording = read_recording(folder)
    assert len(recording.trace) == 10
    assert recording.notes == ("the last line was cut short and is left out",)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (HEADER + "0,1,2,3\n0.1,abc,2,3\n0.2,1,2,3\n", 3, "red is 'abc', not a number"),
        (HEADER + "0,1,2,3\n\n0.1,1,,3\n0.2,1,2,3\n", 4, "green is empty, not a number"),
        (HEADER + "0,1,2,3\n0.1,1,nan,3\n0.2,1,2,3\n", 3, "green is not a finite number"),
        (HEADER + "0,1,2,3\ninf,1,2,3\ninf,1,2,3\n", 3, "time_s is not a finite number"),
        (HEADER + "0,1,2,3\n0.1,1,2,inf\n", 3, "blue is not a finite number"),
        (HEADER + "-0.1,1,2,3\n0.1,1,2,3\n", 2, "the time is negative"),
        (HEADER + "0,1,2,3\n0,1,2,3\n", 3, "not later than the one before"),
        (HEADER + "0.2,1,2,3\n0.1,1,2,3\n", 3, "not later than the one before"),
        (HEADER + "0,1,2,3\n0.1,256,2,3\n", 3, "red goes from 0 to 255"),
        (HEADER + "0,1,2,3\n0.1,1,-2,3\n", 3, "green goes from 0 to 255"),
        (HEADER + "0,1,2,3\n0.1,1,2,3,4\n0.2,1,2,3\n", 3, "5 values where the first line names 4"),
        (HEADER + "0,1,2,3\n0.1,1,2\n0.2,1,2,3\n", 3, "3 values where the first line names 4"),
        (HEADER + "0,1,2,3,4\n0.1,1,2,3,4\n", 2, "5 values where the first line names 4"),
        (HEADER + "0;1;2;3\n0.1;1;2;3\n", 2, "1 values where"),
        (HEADER + "0,1_0,2,3\n", 2, "red is '1_0', not a number"),
        (HEADER.strip() + ",covered\n0,1,2,3,0.5\n0.1,1,2,3,1.5\n", 3, "covered goes from 0 to 1"),
        ("time_s,red,green\n0,1,2\n", 1, "the column blue is missing"),
        ("0,1,2,3\n0.1,1,2,3\n", 1, "the column time_s is missing"),
        ("time_s|red|green|blue\n0|1|2|3\n", 1, "the column time_s is missing"),
        ("time_s,red,green,blue,red\n0,1,2,3,4\n", 1, "the column red is there twice"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, text: str, line: int, words: str) -> None:
    message = fault(csv(tmp_path, text))
    assert f"line {line}:" in message
    assert words in message


@pytest.mark.parametrize(
    ("content", "name", "words"),
    [
        (b"", "a.csv", "is empty"),
        (b" \n\n", "a.csv", "is empty"),
        (b"\0\0\0", "a.csv", "is empty"),
        (HEADER.encode(), "a.csv", "no frames"),
        (HEADER.encode() + b"0.1,2", "a.csv", "no frames"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)), "a.csv", "not a text file"),
        (b"\xff\xfe\x00t\x00i", "a.csv", "not a text file"),
        (GOOD.encode(), "a.csv.gz", "not a gzip file"),
        (gzip.compress(GOOD.encode() * 50, mtime=0)[:-30], "a.csv.gz", "not a whole gzip file"),
        (gzip.compress(GOOD.encode(), mtime=0)[:-6] + b"\1\2\3\4\5\6", "a.csv.gz", "not a whole gzip file"),
        (b"\x1f\x8bnonsense", "a.csv", "not a whole gzip file"),
    ],
)
def test_what_is_no_recording_is_refused_in_one_line(tmp_path: Path, content: bytes, name: str, words: str) -> None:
    assert words in fault(csv(tmp_path, content, name))


def test_a_missing_file_is_refused_in_one_line(tmp_path: Path) -> None:
    assert "No such file" in fault(tmp_path / "nowhere.csv")


def test_an_unreadable_file_is_refused_in_one_line(tmp_path: Path) -> None:
    path = csv(tmp_path, GOOD)
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    assert "Permission denied" in fault(path)


def test_a_folder_without_a_trace_is_refused(tmp_path: Path) -> None:
    assert "no trace.csv" in fault(tmp_path)


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ('{"format_version": 2}', "format version 2, this program reads up to 1"),
        ('{"format_version": "one"}', "should be a whole number"),
        ('{"format_version": 0}', "should be a whole number"),
        ('{"format_version": 1', "is damaged"),
        ("[1, 2]", "is damaged"),
        ("[" * 100_000, "is damaged"),
    ],
)
def test_a_broken_about_is_named(tmp_path: Path, about: str, words: str) -> None:
    csv(tmp_path, GOOD, "trace.csv")
    csv(tmp_path, about, "about.json")
    with pytest.raises(DawnbeatError) as caught:
        read_recording(tmp_path)
    assert words in str(caught.value)
    assert "about.json" in str(caught.value)


def test_a_folder_without_about_reads_all_the_same(tmp_path: Path) -> None:
    csv(tmp_path, GOOD, "trace.csv")
    csv(tmp_path, "time_s\n", "beats.csv")
    recording = read_recording(tmp_path)
    assert recording.about == {}
    assert recording.beats_s is not None
    assert recording.beats_s.size == 0


def test_numbers_that_are_not_finite_never_enter_about(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="JSON"):
        write_recording(tmp_path / "one", trace(), {"lux": float("nan")})


def test_about_is_plain_json(tmp_path: Path) -> None:
    folder = write_recording(tmp_path / "one", trace(), {"notes": "früh"})
    assert json.loads((folder / "about.json").read_text(encoding="utf-8"))["notes"] == "früh"


def test_importing_the_reader_loads_nothing_heavy() -> None:
    code = (
        "import sys, dawnbeat.capture.recording\n"
        "print([name for name in ('cv2', 'scipy', 'pandas') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


cells = st.sampled_from(
    [
        "0",
        "0.1",
        "1",
        "254.9",
        "256",
        "-1",
        "nan",
        "inf",
        "",
        " ",
        "x",
        "1e3",
        "1_0",
        "٣",
        '"1"',
        "\0",
        "1;2",
        "=1+1",
    ]
)
lines = st.lists(st.lists(cells, min_size=0, max_size=6).map(",".join), max_size=8)


@settings(max_examples=150, deadline=None)
@given(st.one_of(lines.map(lambda rows: HEADER + "\n".join(rows)), lines.map("\n".join)))
def test_any_text_is_read_or_refused_by_name(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.mktemp("fuzz") / "a.csv"
    path.write_bytes(text.encode())
    refusal, found = None, None
    try:
        found = read_recording(path).trace
    except DawnbeatError as error:
        refusal = str(error)
    if found is None:
        assert refusal
        assert "\n" not in refusal
    else:
        assert len(found) > 0
        assert np.isfinite(found.colour).all()
        assert (np.diff(found.time_s) > 0).all()


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_by_name(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.mktemp("fuzz") / "a.csv"
    path.write_bytes(content)
    with pytest.raises(DawnbeatError) as caught:
        read_recording(path)
    assert "\n" not in str(caught.value)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 10**7), *[st.integers(0, 25_500_000)] * 3), min_size=1, max_size=30))
def test_every_trace_survives_the_way_through_the_file(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[int, int, int, int]]
) -> None:
    table = np.array(rows, dtype=np.float64)
    written = Trace(np.cumsum(table[:, 0]) / 1e6, table[:, 1:] / 1e5)
    folder = write_recording(tmp_path_factory.mktemp("way") / "one", written, {})
    read = read_recording(folder).trace
    np.testing.assert_allclose(read.time_s, written.time_s, atol=1e-9)
    np.testing.assert_allclose(read.colour, written.colour, atol=1e-9)
