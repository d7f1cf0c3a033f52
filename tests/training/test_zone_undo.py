from __future__ import annotations

from datetime import date

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import zone_store
from dawnbeat.training.maximum import Maximum
from dawnbeat.training.zone_store import Threshold, restore, snapshot
from tests.training.invented import zone_set

TODAY = date(2025, 6, 1)


def test_everything_comes_back_as_it_was_ids_included(journal: Journal) -> None:
    zone_store.add_maximum(journal, Maximum(date(2025, 5, 1), "race", 186), TODAY)
    zone_store.add_threshold(journal, Threshold(date(2025, 5, 2), 168), TODAY)
    zone_store.keep_zone_set(journal, zone_set(date(2025, 5, 3)))
    before = snapshot(journal)
    known = (zone_store.maxima(journal), zone_store.thresholds(journal), zone_store.zone_sets(journal))
    zone_store.remove_maximum(journal, known[0][0].id or 0, TODAY)
    zone_store.remove_threshold(journal, known[1][0].id or 0, TODAY)
    zone_store.remove_zone_set(journal, known[2][0].id or 0)
    restore(journal, before, snapshot(journal))
    assert (zone_store.maxima(journal), zone_store.thresholds(journal), zone_store.zone_sets(journal)) == known


def test_nothing_is_put_back_over_a_change_made_elsewhere(journal: Journal) -> None:
    before = snapshot(journal)
    zone_store.add_maximum(journal, Maximum(date(2025, 5, 1), "race", 186), TODAY)
    after = snapshot(journal)
    zone_store.add_maximum(journal, Maximum(date(2025, 5, 2), "race", 187), TODAY)
    with pytest.raises(DawnbeatError, match="changed elsewhere"):
        restore(journal, before, after)
    assert [each.bpm for each in zone_store.maxima(journal)] == [186, 187]


def test_removing_what_is_not_there_says_so(journal: Journal) -> None:
    with pytest.raises(DawnbeatError, match="no threshold pulse 7"):
        zone_store.remove_threshold(journal, 7, TODAY)
    with pytest.raises(DawnbeatError, match="no zones number 7"):
        zone_store.remove_zone_set(journal, 7)


def test_a_removed_set_leaves_its_days_to_the_one_before(journal: Journal) -> None:
    first = zone_store.keep_zone_set(journal, zone_set(date(2025, 1, 1), 55))
    later = zone_store.keep_zone_set(journal, zone_set(date(2025, 5, 1), 50))
    assert later.id is not None
    zone_store.remove_zone_set(journal, later.id)
    assert zone_store.set_on(zone_store.zone_sets(journal), TODAY) == first
