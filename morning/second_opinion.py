"""A second opinion on the beats: the detector of neurokit2, which knows nothing of ours. Nothing here needs Qt.

neurokit2 takes the crests of the wave at sample times, after Elgendi et al. (2013), PLoS ONE 8:e76585.
"""

from __future__ import annotations

import importlib
import warnings

import numpy as np

from dawnbeat.morning.bench_run import BenchRun
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.signal.compare import Series

MISSING = "neurokit2 is not installed, so there is no second opinion: pip install 'dawnbeat[test]' brings it"
# A crest comes this much after the steepest edge at the most.
MOST_LAG_S = 0.6
_SHORTEST_S = 5.0


def second_opinion(run: BenchRun) -> Series:
    """The beats that neurokit2 finds in the unfiltered wave of each stretch, in the colours that we chose.

    Intervals between stretches don't count. Raises DawnbeatError where neurokit2 is missing, can't make anything
    of the wave, or finds fewer than three beats.
    """
    try:
        neurokit = importlib.import_module("neurokit2")
    except ImportError as error:
        raise DawnbeatError(MISSING) from error
    time_s, kept = [np.zeros(0)], [np.zeros(0, dtype=np.bool_)]
    for stretch in run.stretches:
        if stretch.end_s - stretch.start_s < _SHORTEST_S:
            continue
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                clean = neurokit.ppg_clean(stretch.level - stretch.level.mean(), sampling_rate=stretch.rate_hz)
                found = neurokit.ppg_findpeaks(clean, sampling_rate=stretch.rate_hz)["PPG_Peaks"]
        except Exception as error:  # a library that gives up on a wave must not take the page with it
            raise DawnbeatError(f"neurokit2 gave up on this recording: {one_line(error)}") from error
        beats_s = stretch.start_s + np.asarray(found, dtype=np.float64) / stretch.rate_hz
        if beats_s.size:
            kept += [np.ones(beats_s.size - 1, dtype=np.bool_), np.zeros(1, dtype=np.bool_)]
            time_s.append(beats_s)
    return Series(np.concatenate(time_s), np.concatenate(kept)[:-1])
