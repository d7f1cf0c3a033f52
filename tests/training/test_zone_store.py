from __future__ import annotations

from datetime import date, timedelta

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import zone_store
from dawnbeat.training.maximum import Maximum
from dawnbeat.training.resting import add_hand_count
from dawnbeat.training.zone_store import Threshold
from dawnbeat.training.zones import Scheme, default_scheme
from tests.training.invented import zone_set

TODAY = date(2025, 3, 31)


def count(journal: Journal, beats: int, last: date = TODAY) -> None:
    for back in range(3):
        add_hand_count(journal, last - timedelta(days=back), beats)


def test_a_journal_without_pulses_says_what_is_missing(journal: Journal) -> None:
    with pytest.raises(DawnbeatError, match="does not hold a resting pulse and a maximum yet"):
        zone_store.set_from_journal(journal, TODAY)
    assert zone_store.present_sets(journal, TODAY) == []
    assert zone_store.proposal(journal, TODAY) is None


def test_the_first_maximum_begins_the_first_zones(journal: Journal) -> None:
    count(journal, 25)
    begun = zone_store.add_maximum(journal, Maximum(TODAY, "race", 190), TODAY)
    assert begun is not None
    assert begun.zones.top_of_easy_bpm == 148
    assert "mean of 3 counts by hand" in begun.why
    assert "190 bpm, race" in begun.why
    assert zone_store.zone_sets(journal) == [begun]


def test_a_new_maximum_begins_new_zones_and_old_days_keep_theirs(journal: Journal) -> None:
    count(journal, 25)
    first_day = TODAY - timedelta(days=20)
    zone_store.keep_zone_set(journal, zone_set(first_day))
    zone_store.add_maximum(journal, Maximum(first_day, "race", 190), TODAY)
    begun = zone_store.add_maximum(journal, Maximum(TODAY, "field test", 194), TODAY)
    assert begun is not None
    sets = zone_store.zone_sets(journal)
    before = zone_store.set_on(sets, TODAY - timedelta(days=1))
    now = zone_store.set_on(sets, TODAY)
    assert before is not None
    assert now is not None
    assert (before.zones.top_of_easy_bpm, now.zones.top_of_easy_bpm) == (148, 151)


def test_an_old_measurement_added_late_does_not_rewrite_the_past(journal: Journal) -> None:
    zone_store.keep_zone_set(journal, zone_set(TODAY - timedelta(days=5)))
    begun = zone_store.add_maximum(journal, Maximum(TODAY - timedelta(days=30), "lab test", 200), TODAY)
    assert begun is not None
    assert begun.from_date == TODAY


def test_a_maximum_that_does_not_count_changes_nothing(journal: Journal) -> None:
    count(journal, 25)
    zone_store.add_maximum(journal, Maximum(TODAY, "race", 190), TODAY)
    assert zone_store.add_maximum(journal, Maximum(TODAY, "field test", 185), TODAY) is None
    assert len(zone_store.zone_sets(journal)) == 1
    with pytest.raises(DawnbeatError, match="lies in the future"):
        zone_store.add_maximum(journal, Maximum(TODAY + timedelta(days=1), "race", 199), TODAY)


def test_a_removed_maximum_gives_way_to_the_next(journal: Journal) -> None:
    count(journal, 25)
    zone_store.add_maximum(journal, Maximum(TODAY, "race", 188), TODAY)
    zone_store.add_maximum(journal, Maximum(TODAY, "race", 198), TODAY)
    wrong = next(each for each in zone_store.maxima(journal) if each.bpm == 198)
    assert wrong.id is not None
    begun = zone_store.remove_maximum(journal, wrong.id, TODAY)
    assert begun is not None
    assert begun.zones.anchors.maximum_bpm == 188
    with pytest.raises(DawnbeatError, match="there is no maximum 99"):
        zone_store.remove_maximum(journal, 99, TODAY)


@pytest.mark.parametrize(("beats", "moved"), [(25, None), (26, None), (27, None), (28, 2), (22, -2)])
def test_a_resting_pulse_is_proposed_from_two_beats_at_the_top_of_easy(
    journal: Journal, beats: int, moved: int | None
) -> None:
    # At 70 % of the reserve the top of easy moves by 0.3 of the resting pulse: 148.0 + 0.3 * (2 * beats - 50).
    zone_store.keep_zone_set(journal, zone_set(TODAY - timedelta(days=40)))
    count(journal, beats)
    found = zone_store.proposal(journal, TODAY)
    assert (None if found is None else found.moved_bpm) == moved
    if found is not None:
        assert found.new.from_date == TODAY
        assert f"from 148 to {148 + found.moved_bpm} bpm" in found.words
        zone_store.keep_zone_set(journal, found.new)
        assert zone_store.proposal(journal, TODAY) is None


def test_a_new_maximum_does_not_take_a_new_resting_pulse_in_passing(journal: Journal) -> None:
    zone_store.keep_zone_set(journal, zone_set(TODAY - timedelta(days=40)))
    count(journal, 30)
    begun = zone_store.add_maximum(journal, Maximum(TODAY, "race", 195), TODAY)
    assert begun is not None
    assert begun.zones.anchors.resting_bpm == 50
    assert "50 bpm as before" in begun.why


def test_a_threshold_pulse_begins_new_zones_only_where_zones_hang_on_it(journal: Journal) -> None:
    count(journal, 25)
    scheme = default_scheme("threshold pulse")
    zone_store.add_threshold(journal, Threshold(TODAY, 170, 270), TODAY)
    assert zone_store.zone_sets(journal) == []
    zone_store.keep_zone_set(journal, zone_store.set_from_journal(journal, TODAY, scheme))
    begun = zone_store.add_threshold(journal, Threshold(TODAY, 172, 268), TODAY)
    assert begun is not None
    assert begun.zones.tops_bpm == (146, 155, 163, 172)
    assert [each.bpm for each in zone_store.thresholds(journal)] == [170, 172]


def test_edited_zones_stay_edited_when_the_maximum_changes(journal: Journal) -> None:
    count(journal, 25)
    zone_store.add_maximum(journal, Maximum(TODAY, "race", 190), TODAY)
    mine = Scheme("heart-rate reserve", (50, 75), ("slow", "middle", "fast"), easy_top=2)
    zone_store.keep_zone_set(journal, zone_store.set_from_journal(journal, TODAY, mine))
    begun = zone_store.add_maximum(journal, Maximum(TODAY, "race", 194), TODAY)
    assert begun is not None
    assert begun.zones.scheme == mine


def test_a_day_before_all_sets_is_judged_by_the_first() -> None:
    sets = [zone_set(TODAY, 50), zone_set(TODAY + timedelta(days=10), 54)]
    assert zone_store.set_on(sets, TODAY - timedelta(days=100)) is sets[0]
    assert zone_store.set_on(sets, TODAY + timedelta(days=9)) is sets[0]
    assert zone_store.set_on(sets, TODAY + timedelta(days=10)) is sets[1]
    assert zone_store.set_on([], TODAY) is None


def test_settings_come_back(journal: Journal) -> None:
    assert zone_store.setting(journal, "coefficients", "men") == "men"
    zone_store.set_setting(journal, "coefficients", "women")
    assert zone_store.setting(journal, "coefficients") == "women"
