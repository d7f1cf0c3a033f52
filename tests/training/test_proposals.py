"""A maximum that a run suggests is never taken without a word of caution."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from dawnbeat.training.proposals import MaximumProposal


@pytest.mark.parametrize(("race", "cautioned"), [(True, False), (False, True)])
def test_an_ordinary_run_is_proposed_with_a_caution_and_a_race_without(race: bool, cautioned: bool) -> None:
    run = cast(Any, SimpleNamespace(race=race))
    assert bool(MaximumProposal(run, 181.0, None).caution) is cautioned
