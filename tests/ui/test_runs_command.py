from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from rich.console import Console

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.periods import judge_runs, monday_of, periods_of, weeks_of
from dawnbeat.training.resting import add_hand_count
from dawnbeat.ui.commands.runs_tables import loads_table, periods_table, runs_table, weeks_table
from dawnbeat.ui.main import run
from tests.training.invented import run as invented_run
from tests.training.invented import zone_set
from tests.training.run_files import billion_laughs, csv_text, fit_bytes, steady, write

TODAY = date.today()
NOON = datetime(TODAY.year, TODAY.month, TODAY.day, 12).astimezone()


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.fixture
def one_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """A run of 40 minutes of yesterday with one spike, in the journal as run 1."""
    samples = steady(2401)
    samples[600].pulse_bpm = 215
    path = write(tmp_path / "run.fit", fit_bytes(samples, NOON - timedelta(days=1)))
    said(capsys, "import", str(path))
    return path


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    code = run(["runs", *arguments])
    out, err = capsys.readouterr()
    assert code == 0, err
    return out


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(["runs", *arguments]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    return line


def shown(capsys: pytest.CaptureFixture[str], run_id: int = 1) -> dict[str, object]:
    found: dict[str, object] = json.loads(said(capsys, "show", str(run_id), "--json"))
    return found


def test_a_run_is_imported_once_listed_and_shown(capsys: pytest.CaptureFixture[str], one_run: Path) -> None:
    assert said(capsys, "import", str(one_run)).startswith("0 added, 1 here already")
    assert (TODAY - timedelta(days=1)).isoformat() in said(capsys, "list")
    (listed,) = said(capsys, "list", "--json").splitlines()
    assert json.loads(listed)["duration_s"] == 2400
    text = said(capsys, "show", "1")
    assert "Drift" in text
    assert "spike: a jump that no heart makes" in text
    assert "No zones yet" in text


def test_zones_judge_runs_once_maximum_and_resting_pulse_are_known(
    home: Path, capsys: pytest.CaptureFixture[str], one_run: Path
) -> None:
    with Journal.open(home) as journal:
        for back in range(3):
            add_hand_count(journal, TODAY - timedelta(days=back), 25)
    assert "top of easy 148 bpm" in said(capsys, "maximum", "add", "190", "--kind", "race")
    found = shown(capsys)
    assert found["easy_share"] == 1.0
    assert found["zone_s"] == [0.0, 2399.0, 0.0, 0.0, 0.0]
    assert "the first there are: this run is older" in " ".join(said(capsys, "show", "1").split())


def test_a_mark_can_be_overruled_and_restored(capsys: pytest.CaptureFixture[str], one_run: Path) -> None:
    assert "39:59" not in said(capsys, "overrule", "1", "1")
    assert shown(capsys)["measured_s"] == 2400
    assert "39:59" in said(capsys, "overrule", "1", "1", "--undo")
    assert "no number 7" in refused(capsys, "overrule", "1", "7")


def test_a_folder_with_bad_files_takes_the_good_ones_and_ends_with_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "runs"
    folder.mkdir()
    write(folder / "good.fit", fit_bytes(steady(60), NOON - timedelta(days=3)))
    write(folder / "laughs.gpx", billion_laughs())
    assert run(["runs", "import", str(folder)]) == 2
    out = capsys.readouterr().out
    assert "1 added, 0 here already, 1 not taken" in out
    assert "laughs.gpx: this XML file declares" in out


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("laughs.gpx", billion_laughs(), "declares a document type"),
        ("empty.fit", "", "is empty"),
        ("seconds.csv", csv_text(steady(5), None), "with --began"),
    ],
)
def test_a_single_bad_file_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, content: str, why: str
) -> None:
    assert why in refused(capsys, "import", str(write(tmp_path / name, content)))
    assert said(capsys, "list", "--json") == ""


def test_a_csv_that_counts_from_zero_is_taken_with_its_beginning(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write(tmp_path / "seconds.csv", csv_text(steady(60), None))
    began = (NOON - timedelta(days=2)).isoformat()
    said(capsys, "import", str(path), "--began", began)
    assert shown(capsys)["began"] == began


def test_a_run_by_hand_is_added_edited_binned_and_restored(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said(capsys, "add", "1:05:00", "--km", "12.5", "--felt", "4", "--began", (NOON - timedelta(days=1)).isoformat())
    said(capsys, "edit", "1", "--felt", "5", "--note", "=windy", "--race")
    found = shown(capsys)
    assert (found["felt_effort"], found["race"], found["note"], found["session_load"]) == (5, True, "=windy", 325)
    assert "bin is empty" in said(capsys, "bin")
    said(capsys, "bin", "1")
    assert said(capsys, "list", "--json") == ""
    assert said(capsys, "bin").startswith("1  20")
    assert [each["id"] for each in map(json.loads, said(capsys, "bin", "--json").splitlines())] == [1]
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert run(["runs", "bin", "--empty"]) == 2
    assert "Nobody is there to ask" in capsys.readouterr().err
    said(capsys, "bin", "--back", "1")
    assert len(said(capsys, "list", "--json").splitlines()) == 1
    said(capsys, "bin", "1")
    assert "1 deleted" in said(capsys, "bin", "--empty", "--yes")
    assert "there is no run 1" in refused(capsys, "bin", "--back", "1")


def test_a_change_that_cant_be_is_refused(capsys: pytest.CaptureFixture[str], one_run: Path) -> None:
    assert "rate the whole run" in refused(capsys, "edit", "1", "--felt", "12")
    assert "nothing to change" in refused(capsys, "edit", "1")


def test_weeks_are_shown_and_exported(tmp_path: Path, capsys: pytest.CaptureFixture[str], one_run: Path) -> None:
    said(capsys, "edit", "1", "--felt", "3")
    weeks = [json.loads(line) for line in said(capsys, "week", "--weeks", "2", "--json").splitlines()]
    assert sum(week["runs"] for week in weeks) == 1
    assert "Rating load" in said(capsys, "week")
    weeks = [json.loads(line) for line in said(capsys, "week", "--json").splitlines()]
    assert sum(week["session_load"] or 0 for week in weeks) == 120
    for name, arguments in (("runs.csv", []), ("weeks.csv", ["--weeks"])):
        said(capsys, "export", str(tmp_path / name), *arguments)
        with (tmp_path / name).open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert float(rows[0]["session_load"]) == 120


def test_a_run_above_the_maximum_is_proposed_and_taken_only_when_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = write(tmp_path / "hard.fit", fit_bytes(steady(1200, 180), NOON - timedelta(days=1)))
    said(capsys, "import", str(path))
    said(capsys, "maximum", "add", "178", "--date", (TODAY - timedelta(days=9)).isoformat())
    text = " ".join(said(capsys, "maximum", "list").split())
    assert "`dawnbeat runs maximum use 1` adds it" in text
    assert "Stop at once" in text
    assert "with 2 added" in said(capsys, "maximum", "use", "1", "--added", "2")
    assert "takes it" not in said(capsys, "maximum", "list")
    said(capsys, "maximum", "remove", "2")
    assert "there is no maximum 2" in refused(capsys, "maximum", "remove", "2")
    assert "give either" in refused(capsys, "maximum", "add")
    assert "not typed in" in refused(capsys, "maximum", "add", "180", "--kind", "run")


def test_an_ordinary_run_becomes_the_first_maximum_only_when_told(
    home: Path, capsys: pytest.CaptureFixture[str], one_run: Path
) -> None:
    assert "seldom reaches the maximum" in refused(capsys, "maximum", "use", "1")
    said(capsys, "maximum", "add", "--age", "40")
    assert "say --yes" in refused(capsys, "maximum", "use", "1")
    with Journal.open(home) as journal:
        assert tuple(journal.connection.execute("SELECT count(*) FROM maxima").fetchone()) == (1,)
    text = " ".join(said(capsys, "maximum", "use", "1", "--yes").split())
    assert "seldom reaches the maximum" in text
    assert "`dawnbeat runs maximum remove 2` deletes it" in text
    said(capsys, "maximum", "remove", "2")
    said(capsys, "edit", "1", "--race")
    assert "seldom" not in said(capsys, "maximum", "use", "1")


def test_a_threshold_test_is_worked_out_and_kept(home: Path, capsys: pytest.CaptureFixture[str], one_run: Path) -> None:
    text = said(capsys, "threshold", "1", "--save")
    assert "threshold pulse 140 bpm" in text
    assert "common practice, no source" in text
    assert "Stop at once" in text
    with Journal.open(home) as journal:
        assert tuple(journal.connection.execute("SELECT count(*) FROM thresholds").fetchone()) == (1,)
    said(capsys, "threshold", "1", "--keep")  # as it was called before
    with Journal.open(home) as journal:
        assert tuple(journal.connection.execute("SELECT count(*) FROM thresholds").fetchone()) == (2,)
    assert "--keep" not in said(capsys, "threshold", "--help")


def test_a_race_is_estimated_with_source_and_error(capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "add", "20:00", "--km", "5", "--race")
    text = said(capsys, "estimate", "1")
    assert "49.8 ml/min/kg" in text
    assert "Daniels & Gilbert 1979" in text
    assert "none was published" in text
    assert "needs a resting pulse and a maximum" in text
    found = json.loads(said(capsys, "estimate", "--weekly-km", "48,28032", "--json"))
    # 5 km in 20:00 and 30 miles a week: 1200 * 8.439^1.07 = 11 757.5 s, 3.58878 m/s; 3.33432 m/s by the model.
    assert found["marathon"]["duration_s"] == pytest.approx(12_655, abs=2)
    assert "within 15 minutes" in found["marathon"]["words"]
    text = said(capsys, "estimate", "1", "--effort", "1200/4:05", "--effort", "3600/14:05")
    assert "critical speed: 4:10 min/km, 220 m above it" in text
    assert "give metres and time" in refused(capsys, "estimate", "1", "--effort", "1200")
    said(capsys, "edit", "1", "--no-race")
    assert "is no race" in refused(capsys, "estimate", "1")


def test_two_estimates_that_disagree_say_which_to_trust(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Journal.open(home) as journal:
        for back in range(3):
            add_hand_count(journal, TODAY - timedelta(days=back), 25)
    said(capsys, "maximum", "add", "190", "--kind", "race")
    said(capsys, "add", "20:00", "--km", "5", "--race")
    assert "say which with `dawnbeat runs settings" in " ".join(said(capsys, "estimate").split())
    said(capsys, "settings", "--coefficients", "men")
    # 15.3 * 190 / 50 = 58.1 with a 95 % interval of 5.3 does not reach the race's 49.8.
    for arguments in (["estimate"], ["estimate", "1"], ["estimate", "--men"]):
        text = " ".join(said(capsys, *arguments).split())
        assert "The race says 50 ml/min/kg and the pulses say 58" in text
        assert "trust the race" in text
    said(capsys, "bin", "1")
    said(capsys, "add", "17:30", "--km", "5", "--race")
    assert "trust the race" not in said(capsys, "estimate", "2")


def test_units_are_chosen_once_and_hold_in_every_table(capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "add", "50:00", "--miles", "6,2137", "--began", (NOON - timedelta(days=1)).isoformat())
    assert "5:00" in said(capsys, "list")
    assert "units: miles" in said(capsys, "settings", "--units", "miles")
    listed = said(capsys, "list")
    assert "min/mile" in listed
    assert "8:03" in listed
    assert "6.21" in listed
    assert "8:03 min/mile" in said(capsys, "show", "1")
    assert "say km or miles" in refused(capsys, "settings", "--units", "yards")
    assert "not a number" in refused(capsys, "add", "50:00", "--km", "1,000.5")
    assert "not both" in refused(capsys, "add", "50:00", "--km", "8", "--miles", "5")


@pytest.mark.parametrize("width", [80, 60, 45])
def test_tables_of_runs_and_weeks_keep_every_figure_on_a_narrow_screen(width: int) -> None:
    monday = monday_of(TODAY) - timedelta(weeks=1)
    runs = [
        replace(invented_run(monday + timedelta(days=n), 185.5, 150, 7.5, 42_195.0, 9000 + n), race=True)
        for n in range(5)
    ]
    judged = judge_runs(runs, [zone_set(monday)])
    weeks = weeks_of(judged, monday, TODAY)
    out = io.StringIO()
    screen = Console(file=out, width=width)
    months = periods_of(judged, [], None, monday, monday)
    tables = [
        *(runs_table(judged), weeks_table(weeks), loads_table(weeks), loads_table(weeks, "men")),
        periods_table(months, None, "km", years=False),
    ]
    for table in tables:
        screen.print(table)
    lines = out.getvalue().splitlines()
    assert "…" not in out.getvalue()
    assert max(map(len, lines)) <= width
    felt = "7.5, race" if width == 80 else "7.5,"
    assert sum("9004" in line and "42.20" in line and felt in line for line in lines) == 1
    assert ("Above easy." in " ".join(out.getvalue().split())) == (width < 80)
    # No day and no time goes on in the next line, however narrow.
    assert sum(line.startswith(f"{monday.isoformat()} ") for line in lines) == 3
    assert any(line.startswith(f"{monday:%Y-%m} ") for line in lines)
    assert "15:27:30" in out.getvalue()
    if width == 80:
        assert sum(monday.isoformat() in line and "15:27:30" in line for line in lines) == 1
        assert "Monotony" in out.getvalue()


@pytest.mark.parametrize("rows", [(), ("--weeks",), ("--months",), ("--years",)])
def test_rows_on_standard_output_come_alone(capsys: pytest.CaptureFixture[str], rows: tuple[str, ...]) -> None:
    said(capsys, "add", "1:05:00", "--km", "12.5", "--began", (NOON - timedelta(days=1)).isoformat())
    assert run(["runs", "export", "-", *rows]) == 0
    out, err = capsys.readouterr()
    assert "written" not in out
    assert len({len(row) for row in csv.reader(out.splitlines())}) == 1
    assert "written to standard output" in err


def test_a_run_that_does_not_count_says_so_in_full_at_80_columns(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said(capsys, "add", "1:05:00", "--km", "12.5", "--felt", "4", "--began", (NOON - timedelta(days=1)).isoformat())
    said(capsys, "edit", "1", "--sport", "walking", "--race")
    for name, value in {"FORCE_COLOR": "1", "NO_COLOR": "1", "TERM": "xterm", "COLUMNS": "80"}.items():
        monkeypatch.setenv(name, value)
    out = said(capsys, "list")
    (row,) = [line for line in out.splitlines() if f"{NOON - timedelta(days=1):%Y-%m-%d %H:%M}" in line]
    assert row.split()[:1] == ["1"]
    assert {"does", "not", "count"} <= set(out.split())


def test_weeks_say_what_each_figure_is_and_an_empty_journal_gets_a_sentence(
    capsys: pytest.CaptureFixture[str],
) -> None:
    (line,) = said(capsys, "week").splitlines()
    assert line.startswith("No run since")
    said(capsys, "add", "44:59", "--felt", "2.5")
    text = " ".join(said(capsys, "week").split())
    for words in (
        "Impulse: training impulse",
        "Rating load: how hard",
        "Monotony: mean",
        "Strain: the week's",
        "0:44:59",
    ):
        assert words in text
    assert "2.5" in said(capsys, "list")
    assert "felt 2.5" in said(capsys, "show", "1")


def test_the_hardest_days_are_listed_and_correlations_stay_silent(
    capsys: pytest.CaptureFixture[str], one_run: Path
) -> None:
    text = said(capsys, "mornings")
    assert "no reading" in text
    assert "correlation" not in text
    found = json.loads(said(capsys, "mornings", "--json"))
    assert found["load"] == "minutes run"
    assert found["associations"] == []
    (day,) = found["days"]
    assert (day["runs"], day["rmssd_ms"], day["not_compared"]) == (1, None, "no reading")
    assert day["load"] > 0


def test_an_empty_journal_has_no_hard_day(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert json.loads(said(capsys, "mornings", "--json")) == {"load": "minutes run", "days": [], "associations": []}


def test_quiet_imports_and_says_nothing_but_faults(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], one_run: Path
) -> None:
    assert run(["runs", "import", "--quiet", str(one_run)]) == 0
    assert capsys.readouterr() == ("", "")
    assert "does not exist" in refused(capsys, "import", "--quiet", "nowhere.fit")


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["show", "9"], "there is no run 9"),
        (["list", "--from", "2025-02-01", "--to", "2025-01-01"], "give the earlier day first"),
        (["list", "--from", "someday"], "is not a day"),
        (["add", "soon"], "is not a time"),
        (["import", "nowhere.fit"], "does not exist"),
    ],
)
def test_bad_input_is_one_line(capsys: pytest.CaptureFixture[str], arguments: list[str], why: str) -> None:
    assert why in refused(capsys, *arguments)


# Months, races, protocols


@pytest.fixture
def invented(home: Path) -> Path:
    with Journal.open(home) as journal:
        fill_with_invented_mornings(journal, TODAY)
        fill_with_invented_runs(journal, TODAY)
    return home


def test_months_compare_pace_and_pulse_and_are_exported(
    invented: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    found = [json.loads(line) for line in said(capsys, "month", "--json").splitlines()]
    assert sum(each["runs"] for each in found) > 40
    assert any(each["pace_s_per_km"] for each in found)
    assert any(each["ln_rmssd"] for each in found)
    assert "pace at 135 bpm" in said(capsys, "month", "--pulse", "135")
    assert len(said(capsys, "month", "--years", "--json").splitlines()) in (1, 2)
    said(capsys, "export", str(tmp_path / "months.csv"), "--months")
    with (tmp_path / "months.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["runs"] for row in rows][-len(found) :] == [str(each["runs"]) for each in found][-len(rows) :]


def test_a_race_has_a_pulse_a_pace_and_its_cautions(invented: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = " ".join(said(capsys, "race", "21,0975", "--goal", "1:40:00").split())
    assert "an even 4:44 min/km" in text
    assert "Your longest runs drifted" in text
    assert "Stay under" in text
    assert "Ask a doctor first" in text
    found = json.loads(said(capsys, "race", "10", "--json"))
    assert found["held"]
    assert "give one of 1.5 to 100 km" in refused(capsys, "race", "0,5")


def test_protocols_say_who_must_not_before_any_step(capsys: pytest.CaptureFixture[str]) -> None:
    for which in ("hills", "mile", "threshold"):
        text = " ".join(said(capsys, "protocol", which).split())
        assert text.index("Not for you without a doctor's yes") < text.index("1. Rested")
        assert "Stop at once" in text
        assert "common practice, no source" in text
    assert "say hills, mile or threshold" in refused(capsys, "protocol", "bike")


def test_a_maximum_is_taken_from_the_run_of_a_protocol(invented: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Journal.open(invented) as journal:
        (hills,) = (each for each in run_store.runs(journal) if "hill repeats" in each.note)
    assert "hill repeats of" in said(capsys, "maximum", "use", str(hills.id), "--protocol", "hills", "--added", "2")
    kept = [json.loads(line) for line in said(capsys, "maximum", "list", "--json").splitlines()]
    assert any(each["kind"] == "hill repeats" and each["added_bpm"] == 2 for each in kept)
    found = json.loads(said(capsys, "maximum", "ages", "40", "--json"))
    assert [each["bpm"] for each in found["formulas"]] == pytest.approx([180.0, 185.4, 179.0, 180.0])
    assert "One runner in three is further off" in said(capsys, "maximum", "ages", "40")


def test_what_speaks_against_the_zones_is_said_and_nothing_is_changed(
    invented: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Journal.open(invented) as journal:
        before = zone_store.snapshot(journal)
    assert run(["zones", "--review"]) == 0
    text = capsys.readouterr().out
    assert "None of this is applied by itself." in text
    assert "Ask a doctor first" in " ".join(text.split())
    assert run(["zones", "--review", "--json"]) == 0
    assert isinstance(json.loads(capsys.readouterr().out)["findings"], list)
    with Journal.open(invented) as journal:
        assert zone_store.snapshot(journal) == before


def test_zones_of_a_past_day_use_the_resting_pulse_of_that_day(
    invented: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tops = {}
    for back in (0, 60):
        day = TODAY - timedelta(days=back)
        assert run(["zones", "--date", day.isoformat(), "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        with Journal.open(invented) as journal:
            known = zone_store.standing(journal, day)
        assert known.resting is not None
        assert found["resting_bpm"] == pytest.approx(known.resting.bpm)
        tops[back] = found["resting_bpm"]
    assert tops[0] != tops[60]
