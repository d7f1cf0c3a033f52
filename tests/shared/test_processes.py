from __future__ import annotations

import itertools
import multiprocessing
import os
import threading
import time

import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.processes import Processes

# Functions of the standard library, which a process that starts clean can import.


def work(function, workers=2):  # type: ignore[no-untyped-def]
    return Processes(function, workers, "the counting", "count less")


def test_results_come_in_the_order_of_the_items_and_read_only_a_little_ahead() -> None:
    asked: list[int] = []

    def items():  # type: ignore[no-untyped-def]
        for number in range(-40, 0):
            asked.append(number)
            yield number

    results = work(abs).in_order(items())
    assert next(results) == 40
    assert len(asked) < 12
    assert list(results) == list(range(39, 0, -1))


def test_all_that_is_ready_comes_once() -> None:
    found = list(work(abs).as_ready(range(5)))
    assert sorted(each for each in found if each is not None) == [0, 1, 2, 3, 4]


@pytest.mark.parametrize("close", [False, True])
def test_stopping_or_closing_ends_the_processes_at_once(close: bool) -> None:
    before = set(multiprocessing.active_children())
    sleeping = work(time.sleep)
    results = sleeping.in_order(itertools.chain([0.0], itertools.repeat(60.0, 50)))
    assert next(results) is None
    began = set(multiprocessing.active_children()) - before
    assert began
    if close:
        results.close()
    else:
        sleeping.stop()
        assert list(results) == []
    for each in began:
        each.join(120.0)
    assert not any(each.is_alive() for each in began)


def test_a_process_that_dies_is_one_line_with_what_to_do() -> None:
    with pytest.raises(DawnbeatError, match=r"the counting was stopped from outside.*: count less"):
        list(work(os._exit).in_order([1]))


def test_closing_while_results_are_sent_leaves_no_thread_waiting_for_the_other_half() -> None:
    before = set(threading.enumerate())
    for _ in range(2):
        # Results take far longer to send than to make.
        results = work(bytes).in_order([20_000_000] * 40)
        assert len(next(results)) == 20_000_000
        results.close()
    left = set(threading.enumerate()) - before
    for each in left:
        each.join(60.0)
    assert not any(each.is_alive() for each in left)
