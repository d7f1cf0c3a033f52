"""The same invented run from each format, and files that are no run."""

from __future__ import annotations

import gzip
import math
import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import gpxpy.gpx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.import_runs import MAX_BYTES, assumed, parse, prepare
from dawnbeat.training.run import ParsedRun, PreparedRun
from dawnbeat.training.run_rows import covered_way, parse_csv
from tests.training.run_files import (
    START,
    Sample,
    billion_laughs,
    csv_text,
    fit_bytes,
    gpx_text,
    steady,
    tcx_text,
    write,
)

RUN = steady(600)
FORMATS = {
    "run.fit": fit_bytes(RUN),
    "run.tcx": tcx_text(RUN).encode(),
    "run.gpx": gpx_text(RUN).encode(),
    "run.csv": csv_text(RUN).encode(),
}


def only(data: bytes, name: str, began: datetime | None = None) -> ParsedRun:
    """The one run of a file."""
    (found,) = parse(data, name, began)
    return found


def prepared(path: Path) -> PreparedRun:
    (found,) = prepare(path)
    return found


def codes(run: ParsedRun | PreparedRun) -> list[tuple[str, float]]:
    return [(note.code, note.value) for note in run.notes]


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_tells_the_same_run(name: str) -> None:
    found = only(FORMATS[name], name)
    assert found.sport == "running"
    assert found.began == START
    assert found.format == name[-3:].upper()
    np.testing.assert_array_equal(found.samples.time_s, np.arange(600))
    np.testing.assert_array_equal(found.samples.pulse_bpm, [sample.pulse_bpm for sample in RUN])
    np.testing.assert_allclose(found.samples.distance_m, [sample.distance_m for sample in RUN], atol=0.3)
    if name != "run.csv":
        np.testing.assert_allclose(found.samples.steps_per_min, [sample.steps_per_min for sample in RUN], atol=1.01)


@pytest.mark.parametrize("name", FORMATS)
def test_a_run_without_pulse_is_kept_with_its_duration(name: str, tmp_path: Path) -> None:
    bare = [Sample(t, None, 3.0 * t) for t in range(300)]
    makers = {"run.fit": fit_bytes, "run.tcx": tcx_text, "run.gpx": gpx_text, "run.csv": csv_text}
    found = prepared(write(tmp_path / name, makers[name](bare)))  # type: ignore[operator]
    assert found.figures.duration_s == 299
    assert found.figures.measured_s == 0
    assert found.figures.mean_bpm is None
    assert codes(found) == [("no pulse", 0)]


def test_a_packed_file_is_unpacked(tmp_path: Path) -> None:
    found = prepared(write(tmp_path / "run.fit.gz", gzip.compress(FORMATS["run.fit"])))
    assert found.figures.duration_s == 599


def test_stops_of_the_timer_are_pauses() -> None:
    samples = [sample for sample in steady(600) if not 200 < sample.time_s < 260]
    found = only(fit_bytes(samples, pauses=[(200, 260)]), "run.fit").samples
    assert found.time_s[found.stopped].tolist() == [200]


def test_local_time_comes_from_the_file_where_it_tells() -> None:
    found = only(fit_bytes(RUN, offset_s=int(5.5 * 3600)), "run.fit")
    assert found.began.isoformat() == "2025-03-03T12:00:00+05:30"


def test_a_gpx_file_written_by_a_library_is_read() -> None:
    document = gpxpy.gpx.GPX()
    track = gpxpy.gpx.GPXTrack()
    segment = gpxpy.gpx.GPXTrackSegment()
    for n in range(120):
        segment.points.append(gpxpy.gpx.GPXTrackPoint(-40 + n * 3e-5, -120.0, time=START + timedelta(seconds=n)))
    track.segments.append(segment)
    document.tracks.append(track)
    samples = only(document.to_xml().encode(), "run.gpx").samples
    assert samples.elapsed_s == 119
    assert samples.distance_m[-1] == pytest.approx(segment.length_2d(), rel=0.002)


def test_way_between_two_segments_is_not_made_up() -> None:
    first, second = gpx_text(steady(60)), gpx_text(steady(60), START + timedelta(seconds=600))
    body = second.split("<trkseg>")[1].split("</trkseg>")[0]
    joined = first.replace("</trkseg>", f"</trkseg><trkseg>{body}</trkseg>")
    assert only(joined.encode(), "run.gpx").samples.distance_m[-1] == pytest.approx(2 * 59 * 3.0, abs=0.5)


# Files that are no run


def refused(data: bytes, name: str) -> str:
    with pytest.raises(DawnbeatError) as caught:
        parse(data, name)
    said = str(caught.value)
    assert "\n" not in said
    return said


def complaint(read_it: Callable[[], object]) -> str:
    """What the reading refuses with, or nothing; any other error passes through and fails the test."""
    try:
        read_it()
    except DawnbeatError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("name", ["run.fit", "run.tcx", "run.gpx"])
@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_a_file_that_is_cut_short_gives_what_is_whole_and_says_so(name: str, share: float) -> None:
    data = FORMATS[name]
    found = only(data[: int(share * len(data))], name)
    assert len(found.samples) == pytest.approx(600 * share, rel=0.05)
    np.testing.assert_array_equal(found.samples.pulse_bpm, [sample.pulse_bpm for sample in RUN[: len(found.samples)]])
    assert codes(found) == [("cut short", len(found.samples) - 1)]
    assert "what came before is used" in found.notes[0].words


@pytest.mark.parametrize("name", ["run.fit", "run.tcx", "run.gpx"])
def test_a_file_cut_before_its_first_sample_is_refused(name: str) -> None:
    assert "no sample in it is whole" in refused(FORMATS[name][: 30 if name == "run.fit" else 250], name)


def test_a_fit_file_with_a_wrong_checksum_is_taken_with_a_note() -> None:
    data = bytearray(FORMATS["run.fit"])
    data[-1] ^= 0x55
    found = only(bytes(data), "run.fit")
    assert len(found.samples) == 600
    assert codes(found) == [("checksum", 0)]


def test_an_error_inside_the_library_stays_with_its_file(monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*_: object, **__: object) -> None:
        raise AssertionError("deep inside")

    monkeypatch.setattr("fitdecode.FitReader", breaks)
    assert "deep inside" in refused(FORMATS["run.fit"], "run.fit")


def test_a_prefix_that_a_program_forgot_to_declare_does_not_cost_the_run() -> None:
    for name, declared in (
        ("run.tcx", ' xmlns:x="urn:invented:extension"'),
        ("run.gpx", ' \nxmlns:x="urn:invented:extension"'),
    ):
        text = FORMATS[name].decode().replace(declared, "").replace('xmlns:x="urn:invented:extension"', "")
        assert only(text.encode(), name).samples.has_pulse


# Several sports and sessions in one file


def test_each_session_of_a_fit_file_is_an_activity_of_its_own() -> None:
    # Run 20 minutes at 3 m/s, ride 30 at 9 m/s, run 10 at 3 m/s.
    way = [
        *(3.0 * t for t in range(1200)),
        *(3600 + 9.0 * t for t in range(1800)),
        *(19_800 + 3.0 * t for t in range(600)),
    ]
    samples = [Sample(t, 130 + t % 3, way_m) for t, way_m in enumerate(way)]
    found = parse(fit_bytes(samples, sessions=[(0, 1), (1200, 2), (3000, 1)]), "three.fit")
    assert [each.sport for each in found] == ["running", "cycling", "running"]
    assert [each.samples.elapsed_s for each in found] == [1199, 1799, 599]
    assert [round(float(each.samples.distance_m[-1])) for each in found] == [3597, 16_191, 1797]
    assert [(each.began - START).total_seconds() for each in found] == [0, 1200, 3000]


def test_the_parts_of_one_file_are_kept_apart_and_only_running_counts(tmp_path: Path) -> None:
    data = fit_bytes(steady(1800), sessions=[(0, 1), (900, 2)])
    first, second = prepare(write(tmp_path / "two.fit", data))
    assert (first.counts, second.counts) == (True, False)
    assert first.sha256 != second.sha256


def test_each_activity_of_a_tcx_file_is_its_own() -> None:
    first, second = (
        tcx_text(steady(60), START + timedelta(hours=n), sport) for n, sport in ((0, "Running"), (2, "Biking"))
    )
    body = second.split("<Activities>")[1].split("</Activities>")[0]
    found = parse(first.replace("</Activities>", body + "</Activities>").encode(), "two.tcx")
    assert [(each.sport, each.samples.elapsed_s) for each in found] == [("running", 59), ("cycling", 59)]


@pytest.mark.parametrize(("hours", "runs"), [(0.5, 1), (3, 2)])
def test_tracks_of_a_gpx_file_are_one_run_only_where_they_follow_each_other(hours: float, runs: int) -> None:
    first, second = gpx_text(steady(60)), gpx_text(steady(60), START + timedelta(hours=hours))
    body = "<trk>" + second.split("<trk>")[1].split("</trk>")[0] + "</trk>"
    assert len(parse(first.replace("</trk>", "</trk>" + body).encode(), "two.gpx")) == runs


@pytest.mark.parametrize(
    ("kind", "sport", "counts"),
    [("", "not said", False), ("other", "not said", False), ("hiking", "hiking", False), ("running", "running", True)],
)
def test_only_what_says_that_it_is_running_counts(kind: str, sport: str, counts: bool, tmp_path: Path) -> None:
    found = prepared(write(tmp_path / "track.gpx", gpx_text(RUN, kind=kind)))
    assert (found.sport, found.counts) == (sport, counts)
    said = assumed(found, "running")
    assert said.counts == (sport in ("running", "not said"))


def test_a_car_is_no_run_whatever_its_file_says(tmp_path: Path) -> None:
    # 1:38 min/km is 10.2 m/s.
    found = prepared(write(tmp_path / "car.gpx", gpx_text(steady(600, speed_m_per_s=10.2))))
    assert not found.counts
    assert [note.code for note in found.notes] == ["too fast"]
    assert not assumed(found, "running").counts


# What can't be


def test_a_clock_that_steps_back_costs_only_the_samples_that_overlap() -> None:
    # At half time the clock is put back by one second, so that one second is told twice.
    samples = [Sample(t if t < 300 else t - 1, 140, 3.0 * t) for t in range(600)]
    for maker, name in ((fit_bytes, "run.fit"), (tcx_text, "run.tcx"), (gpx_text, "run.gpx"), (csv_text, "run.csv")):
        samples[300].time_s = 298.5 if name != "run.fit" else 298
        made = maker(samples)
        found = only(made if isinstance(made, bytes) else made.encode(), name)
        assert codes(found) == [("clock", 1)]
        assert len(found.samples) == 599


@pytest.mark.parametrize("name", FORMATS)
def test_a_file_that_is_mostly_out_of_order_is_refused(name: str) -> None:
    makers = {"run.fit": fit_bytes, "run.tcx": tcx_text, "run.gpx": gpx_text, "run.csv": csv_text}
    made = makers[name](steady(60)[::-1])  # type: ignore[operator]
    assert "time runs backwards or jumps" in refused(made if isinstance(made, bytes) else made.encode(), name)


@pytest.mark.parametrize("at", [0, 300, 599])
@pytest.mark.parametrize("maker", [fit_bytes, tcx_text, csv_text])
def test_one_wild_distance_is_left_out_and_said(maker: object, at: int) -> None:
    name = {fit_bytes: "run.fit", tcx_text: "run.tcx", csv_text: "run.csv"}[maker]  # type: ignore[index]
    samples = steady(600)
    samples[at].distance_m = 42_949_000.0
    made = maker(samples)  # type: ignore[operator]
    found = only(made if isinstance(made, bytes) else made.encode(), name)
    # At most the step of that one sample is lost, to either side.
    assert float(found.samples.distance_m[-1]) == pytest.approx(3.0 * 599, abs=6.1)
    # As the very first it is no step, and the counter merely begins anew after it.
    assert codes(found) == ([("distance", 1)] if at else [])


def test_a_distance_that_begins_anew_goes_on_from_where_it_was() -> None:
    way, wild = covered_way(10 * np.arange(6.0), np.array([0.0, 30, 60, 0, 30, 60]), 12.5)
    assert way.tolist() == [0, 30, 60, 60, 90, 120]
    assert wild == 0


def test_way_that_a_device_catches_up_with_after_a_tunnel_stays() -> None:
    time_s = np.arange(120.0)
    told = np.where((time_s > 20) & (time_s < 100), 60.0, 3 * time_s)
    way, wild = covered_way(time_s, told, 12.5)
    assert (way[-1], wild) == (357, 0)


def test_altitudes_and_step_rates_that_cant_be_are_left_out() -> None:
    rows = "".join(f"{t},140,{3 * t},{170 if t != 5 else 5000},{400 if t != 7 else 70_000}\n" for t in range(10))
    found = parse_csv(("time,hr,distance,cadence,altitude\n" + rows).encode(), START)
    assert np.flatnonzero(np.isnan(found.samples.steps_per_min)).tolist() == [5]
    assert np.flatnonzero(np.isnan(found.samples.altitude_m)).tolist() == [7]
    assert codes(found) == [("altitude", 1)]


def test_a_run_of_tomorrow_is_refused() -> None:
    tomorrow = datetime.now(UTC) + timedelta(days=1)
    assert "in the future" in refused(fit_bytes(RUN, tomorrow), "run.fit")
    an_hour_ago = datetime.now(UTC) - timedelta(hours=1)
    assert len(only(fit_bytes(RUN, an_hour_ago), "run.fit").samples) == 600


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes here")
def test_a_pipe_is_no_run_and_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "run.fit")
    with pytest.raises(DawnbeatError, match="pipe or device"):
        prepare(tmp_path / "run.fit")


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_noise_in_a_fit_file_is_refused_or_read_but_never_breaks(data: st.DataObject) -> None:
    noisy = bytearray(fit_bytes(steady(20)))
    for _ in range(data.draw(st.integers(1, 8))):
        noisy[data.draw(st.integers(14, len(noisy) - 1))] = data.draw(st.integers(0, 255))
    assert "\n" not in complaint(lambda: parse(bytes(noisy), "run.fit"))


@pytest.mark.parametrize("name", FORMATS)
def test_an_empty_file_is_named(name: str) -> None:
    assert "empty" in refused(b"", name)


@pytest.mark.parametrize("maker", [tcx_text, gpx_text, csv_text])
def test_a_pulse_of_300_is_left_out_and_a_file_full_of_it_is_refused(maker: object, tmp_path: Path) -> None:
    name = {tcx_text: "run.tcx", gpx_text: "run.gpx", csv_text: "run.csv"}[maker]  # type: ignore[index]
    few = steady(120)
    for sample in few[50:55]:
        sample.pulse_bpm = 300
    found = prepared(write(tmp_path / name, maker(few)))  # type: ignore[operator]
    assert found.figures.missing_s == {"drop-out": 5.0}
    assert codes(found) == [("pulse", 5)]
    assert found.notes[0].words == "5 samples with a pulse outside 25 to 240 bpm are left out"
    many = [Sample(t, 300) for t in range(60)]
    made = maker(many)  # type: ignore[operator]
    assert "can't be beats a minute (up to 300)" in refused(made.encode(), name)


@pytest.mark.parametrize("name", ["laughs.gpx", "laughs.tcx"])
def test_a_billion_laughs_file_is_refused_unread(name: str) -> None:
    assert "declares a document type or entities" in refused(billion_laughs().encode(), name)


def test_an_outside_entity_is_refused_in_utf_16_as_well() -> None:
    text = '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]><gpx>&x;</gpx>'
    assert "declares a document type" in refused(text.encode("utf-16"), "run.gpx")


def test_a_file_of_200_mb_is_refused_by_its_size(tmp_path: Path) -> None:
    path = tmp_path / "large.gpx"
    with path.open("wb") as file:
        file.truncate(200 * 2**20)
    with pytest.raises(DawnbeatError, match=r"large.gpx is over 64 MB"):
        prepare(path)
    assert MAX_BYTES == 64 * 2**20


def test_a_packed_file_may_not_unpack_to_more_either(tmp_path: Path) -> None:
    path = write(tmp_path / "bomb.csv.gz", gzip.compress(bytes(3 * 2**20)))
    with pytest.raises(DawnbeatError, match="over 2 MB"):
        prepare(path, max_bytes=2 * 2**20)
    with pytest.raises(DawnbeatError, match="damaged gzip"):
        prepare(write(tmp_path / "cut.csv.gz", path.read_bytes()[:200]), max_bytes=2 * 2**20)


@pytest.mark.parametrize(
    ("data", "name", "said"),
    [
        (b"hello", "notes.doc", "no run file"),
        (b"hello", "run.fit", "no FIT file though its name says so"),
        (b"<html></html>", "run.gpx", "neither TCX nor GPX"),
        (b'<gpx version="1.1"></gpx>', "run.gpx", "no samples with a time"),
        (b"<TrainingCenterDatabase></TrainingCenterDatabase>", "run.tcx", "no samples with a time"),
        (b"<gpx" + b"<a>" * 100, "run.gpx", "no sample in it is whole"),
        (b"<gpx>" + b"<a>" * 100 + b"</a>" * 100 + b"</gpx>", "run.gpx", "nested too deep"),
        (b"time,heart_rate\n", "run.csv", "no samples with a time"),
        (b"pulse,heart\n1,2\n", "run.csv", "line 1: it has no column of times"),
        (b"time,hr,pulse\n1,2,3\n", "run.csv", "two columns mean pulse"),
        (b"time,hr\n0,120\n", "run.csv", "say when the run began"),
        (b"time,hr\n2025-03-03T06:30:00Z,abc\n", "run.csv", "line 2: pulse is 'abc'"),
        (b"time,hr\n2025-03-03T06:30:00Z,120\nlater,121\n", "run.csv", "line 3: 'later' is not a time"),
        (b"time,hr\n2025-03-03T06:30:00Z,120\n7,121\n", "run.csv", "clock time in one row"),
        (b'time,hr\n"2025', "run.csv", "not readable as CSV"),
        (b"time,hr\n\xff,1\n", "run.csv", "line 2 is not UTF-8"),
        (b"time,hr\n2085-03-03T06:30:00Z,120\n", "run.csv", "in the future"),
        (b"time,hr\n2025-03-03T06:30:00Z,120\n2025-04-03T06:30:00Z,120\n", "run.csv", "would last 31 days"),
    ],
)
def test_what_is_no_run_is_refused_in_one_line(data: bytes, name: str, said: str) -> None:
    assert said in refused(data, name)


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match=r"can't read the run: .*none\.fit: No such file"):
        prepare(tmp_path / "none.fit")
    with pytest.raises(DawnbeatError, match="is a folder"):
        prepare(tmp_path)


# CSV in its many ways


def read(text: str, began: datetime | None = None) -> ParsedRun:
    return parse_csv(text.encode(), began)


def test_seconds_and_clock_readings_count_from_the_beginning_given() -> None:
    began = datetime(2025, 3, 3, 7, 30, tzinfo=UTC)
    for text in (
        "time_s,hr\n0,120\n1.5,121\n",
        "time,hr\n0:00,120\n0:01.5,121\n",
        "Time;HR\n0:00:00;120\n0:00:01,5;121\n",
    ):
        found = read(text, began)
        assert found.samples.time_s.tolist() == [0, 1.5]
        assert found.samples.pulse_bpm.tolist() == [120, 121]
        assert found.began == began


def test_kilometres_and_an_offset_are_understood() -> None:
    found = read(
        "timestamp,Heart Rate (bpm),Distance (km)\n2025-03-03T06:30:00+05:00,120,0\n2025-03-03T06:30:10+05:00,,0.03\n"
    )
    assert found.began.isoformat() == "2025-03-03T06:30:00+05:00"
    assert found.samples.distance_m.tolist() == [0, 30]
    assert math.isnan(found.samples.pulse_bpm[1])


def test_two_rows_of_one_moment_become_one() -> None:
    found = read("time,hr,distance\n0,120,\n0,,5\n1,121,8\n", START)
    assert found.samples.pulse_bpm.tolist() == [120, 121]
    assert found.samples.distance_m.tolist() == [0, 3]


@settings(deadline=None, max_examples=150)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 10_000),
            st.none() | st.integers(25, 240),
            st.none() | st.floats(0, 100, allow_nan=False),
        ),
        min_size=1,
        max_size=40,
    )
)
def test_what_is_written_to_a_csv_comes_back(rows: list[tuple[int, int | None, float | None]]) -> None:
    time_ms, lines, pulses = 0, ["time,heart_rate,distance_m"], []
    for step_ms, pulse, way_m in rows:
        lines.append(f"{time_ms / 1000:.3f},{'' if pulse is None else pulse},{'' if way_m is None else way_m}")
        pulses.append(np.nan if pulse is None else float(pulse))
        time_ms += step_ms
    found = read("\n".join(lines), START).samples
    steps = np.array([row[0] for row in rows[:-1]])
    np.testing.assert_allclose(found.time_s, np.concatenate(([0], np.cumsum(steps))) / 1000, atol=1e-9)
    np.testing.assert_array_equal(found.pulse_bpm, pulses)


@settings(deadline=None, max_examples=150)
@given(st.text(alphabet='0123456789:,;.-TZ"\n\té+eEn ', max_size=80))
def test_any_text_is_read_or_refused_in_one_line(text: str) -> None:
    assert "\n" not in complaint(lambda: read("time,heart_rate,distance_m\n" + text, START))
