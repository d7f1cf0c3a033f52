from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QImage, QPainter
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.maximum import MAXIMAL_TEST, PROTOCOLS, WHO_MUST_NOT, Maximum
from dawnbeat.training.zone_store import Threshold, snapshot
from dawnbeat.training.zones import NOT_MEDICAL, ROUNDING, TALK_TEST
from dawnbeat.ui.window.parts import saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import Scrolled
from dawnbeat.ui.window.parts.theme import Theme, density, hatch_gap, paint_zone
from dawnbeat.ui.window.zones.page import ZonesPage
from dawnbeat.ui.window.zones.pulses import AS_SAVED, ENTERED, FROM_JOURNAL
from tests.training.invented import zone_set
from tests.ui.window.conftest import TODAY, shown

_NAME, _TOP, _PULSE, _TALK = range(4)


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> Iterator[ZonesPage]:
    made = ZonesPage(context, lambda: TODAY)
    shown(qtbot, made, 1100, 900)
    yield made
    context.background.stop()


@pytest.fixture
def with_zones(ninety_days: Journal) -> Journal:
    zone_store.add_maximum(ninety_days, Maximum(TODAY - timedelta(days=60), "race", 185, note="invented"), TODAY)
    return ninety_days


def cells(page: ZonesPage, column: int) -> list[str]:
    table = page.editor.table
    return [table.item(row, column).text() for row in range(table.rowCount())]


def type_into(qtbot: QtBot, page: ZonesPage, row: int, column: int, text: str) -> None:
    """Edit a cell as hands do: F2, type, Enter."""
    table = page.editor.table
    table.setFocus()
    table.setCurrentCell(row, column)
    qtbot.keyClick(table, Qt.Key.Key_F2)
    editor = table.viewport().findChildren(QLineEdit)[-1]
    editor.selectAll()
    qtbot.keyClicks(editor, text)
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    QApplication.processEvents()  # Enter commits once the editor has seen it


def all_words(page: ZonesPage) -> str:
    return "\n".join(label.text() for label in page.findChildren(QLabel) if label.isVisible())


# Opening


def test_an_empty_journal_says_what_zones_need(page: ZonesPage) -> None:
    page.shown()
    assert page.headline.text() == "No zones yet."
    assert "need a resting pulse and a maximum" in page.trouble.text()
    assert page.first_button.isVisible()
    assert not page.keep_button.isEnabled()
    assert page.methods.picture.isHidden()
    assert "no method" in page.methods.apart.text()
    assert cells(page, _PULSE)[0] == "–"


def test_cautions_rounding_and_the_talk_test_are_always_in_sight(page: ZonesPage, with_zones: Journal) -> None:
    page.shown()
    said = all_words(page)
    for line in (*MAXIMAL_TEST, TALK_TEST, NOT_MEDICAL, ROUNDING):
        assert line in said
    talk = cells(page, _TALK)
    assert talk[1] == "easy: whole sentences, without stopping for breath"
    assert talk[4] == "very hard: no talking"


def test_the_zones_in_force_are_shown_with_what_they_rest_on(page: ZonesPage, with_zones: Journal) -> None:
    page.shown()
    kept = zone_store.zone_sets(with_zones)[-1]
    assert page.headline.text() == f"Easy is up to {kept.zones.top_of_easy_bpm} bpm."
    assert "185 bpm, race" in page.rests.text()
    assert cells(page, _PULSE)[0] == f"up to {kept.zones.tops_bpm[0]}"
    assert cells(page, _PULSE)[1].startswith(f"{kept.zones.tops_bpm[0] + 1} to {kept.zones.tops_bpm[1]}")
    assert not page.keep_button.isEnabled()


# Methods


def test_methods_stand_side_by_side_with_how_far_they_differ(page: ZonesPage, with_zones: Journal) -> None:
    zone_store.add_threshold(with_zones, Threshold(TODAY, 168.0), TODAY)
    page.shown()
    table = page.methods.table
    tops = [int(table.item(row, 1).text().removesuffix(" bpm")) for row in range(3)]
    # 84 % of the maximum, and 90 % of the threshold pulse, halves upwards.
    assert tops[1:] == [155, 151]
    assert table.item(1, 2).text() == f"{155 - tops[0]:+d} bpm"
    assert f"{max(tops) - min(tops)} beats apart" in page.methods.apart.text()
    assert f"heart-rate reserve: easy up to {tops[0]} bpm" in page.methods.picture.words()


def test_the_picture_is_saved_by_key(
    qtbot: QtBot, page: ZonesPage, with_zones: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.shown()
    out = tmp_path / "zones.png"
    monkeypatch.setattr(saving, "ask_save", lambda *_: out)
    page.methods.picture.setFocus()
    qtbot.keyClick(page.methods.picture, Qt.Key.Key_P)
    assert out.read_bytes().startswith(b"\x89PNG")


def test_harder_zones_are_denser_and_only_those_above_easy_are_hatched() -> None:
    assert [hatch_gap(number, 2) is None for number in range(1, 6)] == [True, True, False, False, False]
    gaps = [hatch_gap(number, 2) or 0 for number in (3, 4, 5)]
    assert gaps == sorted(gaps, reverse=True)
    assert len({density(number, 5) for number in range(1, 6)}) == 5

    def darkness(number: int) -> float:
        picture = QImage(80, 40, QImage.Format.Format_RGB32)
        picture.fill(QColor("white"))
        painter = QPainter(picture)
        paint_zone(painter, picture.rect().toRectF(), Theme(), number, 2, 5)
        painter.end()
        return sum(255 - picture.pixelColor(x, y).lightness() for x in range(80) for y in range(40))

    found = [darkness(number) for number in range(1, 6)]
    assert found == sorted(found)


# Editing


def test_a_boundary_edited_in_the_table_moves_the_pulses_and_is_kept_on_demand(
    qtbot: QtBot, page: ZonesPage, with_zones: Journal, context: AppContext
) -> None:
    page.shown()
    before = zone_store.zone_sets(with_zones)
    type_into(qtbot, page, 1, _TOP, "75")
    assert page.editor.scheme.boundaries_pct == (60, 75, 80, 90)
    assert "not saved yet" in page.headline.text()
    assert zone_store.zone_sets(with_zones) == before
    page.keep_button.click()
    kept = zone_store.set_on(zone_store.zone_sets(with_zones), TODAY)
    assert kept is not None
    assert kept.from_date == TODAY
    assert kept.zones.scheme.boundaries_pct == (60, 75, 80, 90)
    assert not page.keep_button.isEnabled()
    context.undo.undo()
    assert zone_store.zone_sets(with_zones) == before
    context.undo.redo()
    assert zone_store.set_on(zone_store.zone_sets(with_zones), TODAY) == kept


def test_boundaries_that_do_not_rise_are_refused_with_a_line(
    qtbot: QtBot, page: ZonesPage, with_zones: Journal, context: AppContext
) -> None:
    page.shown()
    type_into(qtbot, page, 1, _TOP, "55")
    assert "do not rise" in context.last_said
    assert cells(page, _TOP)[:4] == ["60", "70", "80", "90"]
    type_into(qtbot, page, 1, _TOP, "soon")
    assert "no per cent" in context.last_said
    assert cells(page, _TOP)[1] == "70"
    type_into(qtbot, page, 1, _TOP, "60.1")
    assert "less than one beat apart" in context.last_said
    assert cells(page, _TOP)[1] == "70"


def test_count_names_and_the_top_of_easy_change_and_reset_goes_back(
    qtbot: QtBot, page: ZonesPage, with_zones: Journal
) -> None:
    page.shown()
    for count in (2, 12, 7):
        page.editor.count.setValue(count)
        assert page.editor.table.rowCount() == count
        assert len(page.editor.scheme.names) == count
    type_into(qtbot, page, 0, _NAME, "stroll")
    assert page.editor.scheme.names[0] == "stroll"
    page.editor.count.setValue(5)
    page.editor.easy.setCurrentIndex(2)
    page.editor.easy.activated.emit(2)
    assert page.editor.scheme.easy_top == 3
    assert "easy ends" in cells(page, _PULSE)[2]
    page.editor.reset.click()
    assert page.editor.scheme.boundaries_pct == (60, 70, 80, 90)
    assert cells(page, _NAME)[0] == "zone 1"
    assert not page.keep_button.isEnabled()


def test_another_method_says_what_it_lacks(page: ZonesPage, with_zones: Journal) -> None:
    page.shown()
    page.editor.method.setCurrentText("threshold pulse")
    page.editor.method.activated.emit(2)
    assert page.trouble.text() == "Zones by threshold pulse need a threshold pulse."
    assert not page.keep_button.isEnabled()
    page.back_button.click()
    assert page.editor.scheme.method == "heart-rate reserve"
    assert page.trouble.isHidden()


# Pulses


def test_a_resting_pulse_entered_makes_zones_without_any_morning(page: ZonesPage, journal: Journal) -> None:
    page.shown()
    page.pulses.choose_resting(ENTERED)
    page.pulses.resting.setValue(50)
    dialog = page.pulses.ask_maximum()
    dialog.bpm.setValue(190)
    dialog.accept()
    assert "Easy would be up to 148 bpm" in page.headline.text()
    page.keep_button.click()
    (kept,) = zone_store.zone_sets(journal)
    assert kept.zones.tops_bpm == (134, 148, 162, 176)
    assert kept.why == "resting pulse 50 bpm, entered; maximum 190 bpm, field test of 1 June 2025"
    assert page.pulses.resting_choice == AS_SAVED


def test_beats_are_added_only_when_the_runner_says_so(page: ZonesPage, with_zones: Journal) -> None:
    page.shown()
    dialog = page.pulses.ask_maximum()
    assert dialog.entry().added_bpm == 0
    said = "\n".join(label.text() for label in dialog.findChildren(QLabel))
    assert "common practice, no source" in said
    assert MAXIMAL_TEST[0] in said
    dialog.bpm.setValue(188)
    dialog.added.setCurrentIndex(3)
    dialog.accept()
    assert zone_store.maxima(with_zones)[-1].counts_as_bpm == 191
    assert "191 bpm" in page.pulses.maxima_words.text()


def test_a_maximum_by_age_shows_its_error_and_is_called_a_last_resort(page: ZonesPage, journal: Journal) -> None:
    page.shown()
    assert "last resort" in page.pulses.maxima_words.text()
    dialog = page.pulses.ask_maximum()
    dialog.kind.setCurrentIndex(dialog.kind.findData("formula"))
    dialog.age.setValue(40)
    assert "180 bpm by 208 - 0.7 age at 40 (standard error 10 bpm" in dialog.about.text()
    dialog.accept()
    (entry,) = zone_store.maxima(journal)
    assert (entry.kind, entry.bpm) == ("formula", 180)
    assert "standard error is 10 to 12 bpm" in page.pulses.maxima_words.text()


def test_a_removed_maximum_comes_back_by_undo(
    qtbot: QtBot, page: ZonesPage, with_zones: Journal, context: AppContext
) -> None:
    page.shown()
    before = snapshot(with_zones)
    page.pulses.maxima.selectRow(0)
    page.pulses.maxima.setFocus()
    qtbot.keyClick(page.pulses.maxima, Qt.Key.Key_Delete)
    assert zone_store.maxima(with_zones) == []
    context.undo.undo()
    assert snapshot(with_zones) == before
    assert page.pulses.maxima.rowCount() == 1


def test_a_threshold_pulse_that_cannot_be_right_is_refused_in_the_dialog(page: ZonesPage, journal: Journal) -> None:
    page.shown()
    dialog = page.pulses.ask_threshold()
    dialog.pace.setText("fast")
    dialog.accept()
    assert dialog.isVisible()
    assert "is not a time" in dialog.trouble.text()
    dialog.pace.setText("4:20")
    dialog.accept()
    (entry,) = zone_store.thresholds(journal)
    assert (entry.bpm, entry.pace_s_per_km) == (170, 260)
    page.pulses.thresholds.selectRow(0)
    page.pulses.drop_threshold.click()
    assert zone_store.thresholds(journal) == []


# Proposals and dates


def test_the_mornings_propose_new_zones_only_when_easy_moves_by_two_beats(
    page: ZonesPage, ninety_days: Journal, context: AppContext
) -> None:
    resting = zone_store.standing(ninety_days, TODAY).resting
    assert resting is not None
    zone_store.keep_zone_set(ninety_days, zone_set(TODAY - timedelta(days=30), round(resting.bpm) + 10, 190))
    page.shown()
    assert page.moved.isVisible()
    assert "earlier runs keep their zones" in page.moved.words.text()
    page.moved.buttons[-1].click()
    assert page.moved.isHidden()
    context.journal_changed.emit()
    assert page.moved.isHidden()
    page.take_proposal()
    sets = zone_store.zone_sets(ninety_days)
    assert [each.from_date for each in sets] == [TODAY - timedelta(days=30), TODAY]
    assert sets[-1].zones.anchors.resting_bpm == pytest.approx(resting.bpm)
    assert page.headline.text() == f"Easy is up to {sets[-1].zones.top_of_easy_bpm} bpm."


def test_mornings_that_hardly_moved_propose_nothing(page: ZonesPage, with_zones: Journal) -> None:
    page.shown()
    assert page.moved.isHidden()


def test_a_run_proposes_a_maximum_and_never_takes_it(page: ZonesPage, journal: Journal, context: AppContext) -> None:
    fill_with_invented_runs(journal, TODAY, weeks=12)
    page.shown()
    assert page.higher.isVisible()
    before = zone_store.maxima(journal)
    wanted: list[tuple[str, object]] = []
    context.wanted.connect(lambda key, what: wanted.append((key, what)))
    page.higher.buttons[0].click()
    race = max(run_store.runs(journal), key=lambda run: run.figures.peak_bpm or 0)
    assert wanted == [("runs", race.id)]
    assert zone_store.maxima(journal) == before
    page.higher.buttons[1].click()
    dialog = page.pulses.findChildren(type(page.pulses.ask_maximum()))[0]
    assert not dialog.bpm.isEnabled()
    dialog.accept()
    assert zone_store.maxima(journal)[-1].run_id == race.id
    assert page.higher.isHidden()


def test_zone_sets_are_listed_newest_first_and_removed_undoably(
    page: ZonesPage, journal: Journal, context: AppContext
) -> None:
    for back, resting in ((40, 55), (10, 50)):
        zone_store.keep_zone_set(journal, zone_set(TODAY - timedelta(days=back), resting))
    page.shown()
    table = page.sets.table
    assert table.item(0, 0).text() == (TODAY - timedelta(days=10)).isoformat()
    table.selectRow(0)
    page.sets.drop.click()
    assert [each.from_date for each in zone_store.zone_sets(journal)] == [TODAY - timedelta(days=40)]
    context.undo.undo()
    assert len(zone_store.zone_sets(journal)) == 2


def test_the_resting_pulse_of_the_journal_is_used_when_chosen(page: ZonesPage, ninety_days: Journal) -> None:
    zone_store.keep_zone_set(ninety_days, zone_set(TODAY - timedelta(days=30), 60, 190))
    page.shown()
    assert page.pulses.resting_bpm() == 60
    page.pulses.choose_resting(FROM_JOURNAL)
    known = zone_store.standing(ninety_days, TODAY).resting
    assert known is not None
    assert page.pulses.resting_bpm() == known.bpm
    assert known.label in page.pulses.resting_words.text().replace(known.label[0].upper(), known.label[0], 1)
    assert page.keep_button.isEnabled()


def test_text_at_twice_the_size_still_fits_the_width(page: ZonesPage, with_zones: Journal, context: AppContext) -> None:
    context.choose(text_percent=200)
    page.shown()
    QApplication.processEvents()
    scrolled = page.findChild(Scrolled)
    assert scrolled is not None
    assert scrolled.horizontalScrollBar().maximum() == 0


# Counting by hand, testing, and whether the zones still hold


def test_three_counts_by_hand_are_a_resting_pulse(page: ZonesPage, journal: Journal, context: AppContext) -> None:
    page.shown()
    for back, beats in ((2, 26), (1, 25), (0, 24)):
        dialog = page.pulses.ask_count()
        dialog.beats.setValue(beats)
        dialog.day.setDate(dialog.day.date().addDays(-back))
        assert f"Doubled: {2 * beats} bpm" in dialog.doubled.text()
        dialog.accept()
    known = zone_store.standing(journal, TODAY).resting
    assert known is not None
    assert (known.bpm, known.source) == (50, "hand count")
    assert "counts by hand" in page.pulses.resting_words.text()
    context.undo.undo()
    assert zone_store.standing(journal, TODAY).resting is None


def test_the_timer_stops_by_itself_and_asks_for_the_number(page: ZonesPage) -> None:
    page.shown()
    dialog = page.pulses.ask_count()
    dialog.start_button.click()
    assert not dialog.keep_button.isEnabled()
    dialog.ended()
    assert dialog.keep_button.isEnabled()
    assert "how many" in dialog.bar.format()


def test_who_must_not_test_stands_before_the_steps(page: ZonesPage) -> None:
    page.shown()
    for key in PROTOCOLS:
        dialog = page.ask_protocol(key)
        said = [each.text() for each in dialog.findChildren(QLabel)]
        assert said.index(WHO_MUST_NOT) < next(n for n, text in enumerate(said) if text.startswith("1. Rested"))
        assert any("Stop at once" in text for text in said)
        dialog.reject()


def test_what_speaks_against_the_zones_is_said_and_changes_nothing(page: ZonesPage, journal: Journal) -> None:
    fill_with_invented_runs(journal, TODAY)
    for each in run_store.runs(journal):
        run_store.edit(journal, each.id, talk="a few words")
    before = snapshot(journal)
    page.shown()
    assert "could not talk in whole sentences" in page.review.text()
    assert snapshot(journal) == before


def test_every_formula_by_age_is_shown_beside_the_chosen_one(page: ZonesPage) -> None:
    page.shown()
    dialog = page.pulses.ask_maximum()
    dialog.kind.setCurrentIndex(dialog.kind.findData("formula"))
    dialog.age.setValue(40)
    for bpm in ("180 bpm", "185 bpm", "179 bpm"):
        assert bpm in dialog.about.text()
    assert "rest zones on none" in dialog.about.text()
