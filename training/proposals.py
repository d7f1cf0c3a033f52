"""A maximum that a run suggests; proposed, never taken silently."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dawnbeat.training import cautions
from dawnbeat.training.maximum import Maximum, maximum_on
from dawnbeat.training.run import Run
from dawnbeat.training.zones import MAXIMUM_LOW


@dataclass(frozen=True)
class MaximumProposal:
    """A run whose highest pulse is above the maximum that counts. present: that maximum, or None."""

    run: Run
    bpm: float
    present: Maximum | None

    @property
    def caution(self) -> str:
        """What to bear in mind before it is taken; empty for a race, which does reach the maximum."""
        return "" if self.run.race else cautions.SELDOM_REACHED

    @property
    def words(self) -> str:
        """The proposal in one plain sentence or two."""
        beside = "no maximum is known yet" if self.present is None else f"the maximum is {self.present.label}"
        return (
            f"Run {self.run.id} of {self.run.local_date.isoformat()} held {self.bpm:.0f} bpm for "
            f"five seconds, and {beside}. "
            "Look at its curve first: a loose sensor can invent beats."
        )

    def entry(self) -> Maximum:
        """The entry that taking it would keep."""
        return Maximum(self.run.local_date, "race" if self.run.race else "run", self.bpm, run_id=self.run.id)


def maximum_proposal(runs: Sequence[Run], entries: Sequence[Maximum], today: date) -> MaximumProposal | None:
    """The run with the highest pulse, where it is above the maximum that counts; else None."""
    with_peak = [(run.figures.peak_bpm, run) for run in runs if run.figures.peak_bpm is not None]
    if not with_peak:
        return None
    peak, run = max(with_peak, key=lambda each: each[0])
    present = maximum_on(entries, today)
    # Below what any maximum can be, as after a month of walks, there is nothing to propose.
    if peak < MAXIMUM_LOW or (present is not None and peak <= present.counts_as_bpm):
        return None
    return MaximumProposal(run, peak, present)
