"""Measuring CPU time, so that two figures of one run can be divided. No wall time: other work would show in it."""

import gc
import time
from collections.abc import Callable


def cpu_s(work: Callable[[], object], repeats: int) -> float:
    """CPU seconds of one call of ``work``: the least of ``repeats`` rounds, which is the one least disturbed."""
    best = float("inf")
    for _ in range(repeats):
        gc.collect()
        begun = time.process_time()
        work()
        best = min(best, time.process_time() - begun)
    return best


def spent(threads: int) -> float:
    """CPU seconds of each of so many threads that are all at work: a clock for a budget of time."""
    return time.process_time() / threads


def row(what: str, figure: str, note: str = "") -> None:
    print(f"  {what:<58}{figure:>14}  {note}".rstrip())


def verdict(figure: float, most: float) -> str:
    """How a figure compares with its target, in words."""
    return f"target under {most:g}: {'met' if figure < most else 'MISSED'}"
