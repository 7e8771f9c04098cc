"""Drying as a clock that runs with the climate: reference days passed, by minutes from the origin."""

from dataclasses import dataclass, field
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from server.planning.schedule.calendar import MINUTES_PER_DAY, Zone, day_starts
from server.planning.schedule.problem import DryingSpeed, PanelJob, Problem

REPEATED_DAYS = 28
FEW = 100
Minutes = NDArray[np.float64]


def speed_of(speed: DryingSpeed, zone: Zone, day: int) -> float:
    """The speed on a day counted from today; days before a list of days begin are like its first."""
    if speed.by_month:
        return speed.by_month[(zone.today + timedelta(days=day)).month - 1]
    days = speed.by_day
    if day < len(days):
        return days[max(day, 0)]
    period = min(REPEATED_DAYS, len(days))
    return days[len(days) - period + (day - len(days)) % period]


@dataclass
class Clocks:
    """A clock for each place that panels of ``problem`` dry in, over ``first`` to ``last`` day from today."""

    problem: Problem
    zone: Zone
    first: int
    last: int
    _made: dict[DryingSpeed | None, "DryingClock"] = field(default_factory=dict)
    _of: dict[int, tuple[DryingSpeed | None, "DryingClock"]] = field(default_factory=dict)

    def of(self, panel: PanelJob) -> "DryingClock":
        # By the speed itself first: telling two of them apart takes as long as they have days.
        known = self._of.get(id(panel.speed))
        if known is None:
            known = self._of[id(panel.speed)] = panel.speed, self._clock(panel)
        return known[1]

    def _clock(self, panel: PanelJob) -> "DryingClock":
        if panel.speed not in self._made:
            self._made[panel.speed] = DryingClock(self.problem.speed_of(panel), self.zone, self.first, self.last)
        return self._made[panel.speed]


def _are_within(values: Minutes, edges: Minutes) -> bool:
    """Whether all values surely are; of few it takes as long to find out as to reckon with what is beyond."""
    return len(values) > FEW and bool(values.min() >= edges[0] and values.max() <= edges[-1])


class DryingClock:
    """``progress`` of an instant and back, exact within a day, over ``first`` to ``last`` day from today.

    Beyond the last day the mean speed of its last year goes on.
    """

    def __init__(self, speed: DryingSpeed, zone: Zone, first: int, last: int) -> None:
        self._edge_min = day_starts(zone, first, last + 1)
        rate = np.array([speed_of(speed, zone, day) for day in range(first, last + 1)]) / MINUTES_PER_DAY
        self._progress = np.concatenate(([0.0], np.cumsum(rate * np.diff(self._edge_min))))
        self._far_rate = float(rate[-365:].mean())
        self._near_rate = float(rate[0])

    def progress(self, minute: Minutes) -> Minutes:
        """Reference days from the clock's beginning to each instant."""
        inside = np.interp(minute, self._edge_min, self._progress)
        if _are_within(minute, self._edge_min):
            return inside
        beyond = np.maximum(minute - self._edge_min[-1], 0.0) * self._far_rate
        before = np.minimum(minute - self._edge_min[0], 0.0) * self._near_rate
        return inside + beyond + before

    def instant(self, progress: Minutes) -> Minutes:
        """The instants at which the clock shows these reference days."""
        inside = np.interp(progress, self._progress, self._edge_min)
        if _are_within(progress, self._progress):
            return inside
        beyond = np.maximum(progress - self._progress[-1], 0.0) / self._far_rate
        before = np.minimum(progress, 0.0) / self._near_rate
        return inside + beyond + before

    def after(self, minute: Minutes, reference_d: float | Minutes) -> Minutes:
        """The instants at which so many reference days have passed, as many for all or for each its own."""
        return self.instant(self.progress(minute) + reference_d)
