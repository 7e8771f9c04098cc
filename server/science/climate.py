"""A room that changes: when a stage is reached while temperature, humidity and light move.

A stage is reached when the integral of dt / T_stage(climate at t) is 1, T_stage being the constant-climate time. The
climate is constant within a step, so the integral is a sum and exact: splitting a step changes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from server.science import reference
from server.science.drying import (
    Climate,
    Film,
    Number,
    arrhenius,
    drying_speed,
    humidity_factor,
    inverse_kelvin,
    stage_times,
)
from server.science.errors import InputError
from server.science.recipe import Room
from server.science.routes import RouteMeans

Days = float | np.ndarray
FAR_D = 1e9  # where the unused steps of a shorter room begin


@dataclass(frozen=True, slots=True)
class Rooms:
    """Rooms side by side, shape (rooms, steps); shorter ones repeat their last step far in the future."""

    start_d: np.ndarray
    inverse_kelvin: np.ndarray
    humidity: np.ndarray
    light: np.ndarray

    def of(self, rows: np.ndarray) -> "Rooms":
        """The rooms of these rows."""
        return Rooms(self.start_d[rows], self.inverse_kelvin[rows], self.humidity[rows], self.light[rows])

    def climate(self) -> Climate:
        """The factors of every step with the central activation energies."""
        return Climate(
            auto=self.light * self.humidity * arrhenius(self.inverse_kelvin, _energy("auto")),
            cat=self.humidity * arrhenius(self.inverse_kelvin, _energy("cat")),
            front=np.asarray(arrhenius(self.inverse_kelvin, _energy("dif"))),
        )


def _energy(route: str) -> float:
    return reference.value(f"activation_{route}_kj_mol")


def rooms_of(rooms: Sequence[Room]) -> Rooms:
    """Rooms as columns. Raises InputError when a room has no step or its steps are not in order from day 0."""
    counts = np.array([len(room.steps) for room in rooms])
    if not counts.all():
        raise InputError("room.steps", "a room needs at least one climate")
    known = np.array(
        [
            (s.from_d, s.temperature_c, s.relative_humidity_pct, room.light if s.light is None else s.light)
            for room in rooms
            for s in room.steps
        ],
        dtype=float,
    )
    most = int(counts.max())
    used = np.arange(most) < counts[:, None]
    table = np.empty((len(rooms), most, 4))
    table[used] = known
    table[:, 0, 0] = 0.0  # the first step counts from the painting on
    if most > 1:
        last = known[np.cumsum(counts) - 1]
        table[~used] = np.repeat(last, most - counts, axis=0)
        table[:, :, 0][~used] = FAR_D
    light = table[:, :, 3]
    if not np.all((light > 0) & (light < np.inf)):
        raise InputError("room.light", "must be above zero")
    if not np.isfinite(known).all() or np.any(np.diff(table[:, :, 0], axis=1) < 0):
        raise InputError("room.steps", "the steps of a room must be numbers, each later than the one before")
    warmth, damp = np.asarray(inverse_kelvin(table[:, :, 1])), np.asarray(humidity_factor(table[:, :, 2]))
    return Rooms(table[:, :, 0], warmth, damp, light)


def constant_means(rooms: Rooms) -> RouteMeans:
    """The first step of every room, as what its films meet for good."""
    first = Rooms(*(column[:, 0] for column in (rooms.start_d, rooms.inverse_kelvin, rooms.humidity, rooms.light)))
    climate = first.climate()
    slope = first.inverse_kelvin
    return RouteMeans(climate.auto, climate.cat, climate.front, slope, slope, slope)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Clock:
    """How far each row has come: ``progress`` at the start of each step (0 on day 0) and its ``rate`` within, 1/d."""

    start_d: np.ndarray
    progress: np.ndarray
    rate: np.ndarray

    def reach(self, target: np.ndarray) -> np.ndarray:
        """Days until each row's progress is ``target``, shape (rows,) or (rows, targets)."""
        goals = target.reshape(len(target), -1)
        rows = np.arange(len(target))[:, None]
        step = last_below(self.progress, rows, goals)
        missing = goals - self.progress[rows, step]
        return (self.start_d[rows, step] + missing / self.rate[rows, step]).reshape(target.shape)

    def progress_at(self, at_d: Days) -> np.ndarray:
        """How far the one row of this clock has come at ``at_d``, of any shape; before day 0 the first rate counts."""
        days = np.asarray(at_d, dtype=float)
        step = np.maximum(np.searchsorted(self.start_d[0], days, side="right") - 1, 0)
        return np.asarray(self.progress[0, step] + self.rate[0, step] * (days - self.start_d[0, step]))


def last_below(table: np.ndarray, rows: np.ndarray, goals: np.ndarray) -> np.ndarray:
    """Position of the last entry below each goal in its row of a table that grows along its rows, or 0."""
    low, high = np.zeros(goals.shape, dtype=np.intp), np.full(goals.shape, table.shape[1], dtype=np.intp)
    for _ in range(table.shape[1].bit_length()):
        middle = (low + high) // 2
        below = table[rows, middle] < goals
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return low


def clock(start_d: np.ndarray, rate: np.ndarray) -> Clock:
    """A clock from rates per step, both (rows, steps)."""
    progress = np.zeros_like(rate)
    np.cumsum(rate[:, :-1] * np.diff(start_d, axis=1), axis=1, out=progress[:, 1:])
    return Clock(start_d, progress, rate)


def clocks(film: Film, rooms: Rooms) -> tuple[Clock, Clock, Clock, Clock]:
    """Clocks of dry-to-touch, dry-to-recoat, dry-through and the varnish's wait; ``rooms`` has a row for each film."""
    columns = Film(*(_column(getattr(film, f.name)) for f in fields(Film)))
    times = stage_times(columns, rooms.climate())
    days = (times.dry_to_touch_d, times.dry_to_recoat_d, times.dry_through_d, times.varnish_d)
    touch, recoat, through, varnish = (clock(rooms.start_d, 1 / np.asarray(d)) for d in days)
    return touch, recoat, through, varnish


def reference_clock(room: Room) -> Clock:
    """A clock of one row that runs with the room: its progress is effective days, days in the reference room.

    Its rate is the room's drying speed, equation (16): how fast a 50 um neutral linseed layer comes to dry-to-recoat
    against the reference room of 21 C, 50 % relative humidity and light 1. One day there is one effective day.
    Raises InputError when the room has no step or its steps are not in order.
    """
    rooms = rooms_of([room])
    return clock(rooms.start_d, np.asarray(drying_speed(rooms.climate())))


def effective_days(room: Room, from_d: Days, until_d: Days) -> np.ndarray:
    """Effective (reference) days that pass in ``room`` between two moments, both in days after day 0 of the room.

    Numbers or arrays that broadcast; the answer has their shape. Negative where ``until_d`` is the earlier one; before
    day 0 the first step counts. Splitting a span into parts changes nothing: the parts add up. Raises InputError as
    ``reference_clock`` does.
    """
    running = reference_clock(room)
    return running.progress_at(until_d) - running.progress_at(from_d)


def room_days(room: Room, effective_d: Days) -> np.ndarray:
    """Days after day 0 of the room at which so many effective days have passed: the way back from ``effective_days``.

    A number or an array of effective days after day 0; the answer has its shape. Raises InputError likewise.
    """
    goals = np.asarray(effective_d, dtype=float)
    return reference_clock(room).reach(goals.reshape(1, -1)).reshape(goals.shape)


def _column(number: Number) -> Number:
    return number[:, None] if isinstance(number, np.ndarray) else number


class MetClimate:
    """What each row's room has done to the three routes up to any day."""

    def __init__(self, rooms: Rooms) -> None:
        climate = rooms.climate()
        routes = (climate.auto, climate.cat, climate.front)
        self._clocks = [clock(rooms.start_d, np.asarray(r)) for r in routes]
        self._slopes = [clock(rooms.start_d, np.asarray(r) * rooms.inverse_kelvin) for r in routes]
        self._start_d = rooms.start_d

    def means(self, until_d: np.ndarray, rows: np.ndarray) -> RouteMeans:
        """Mean factors and slopes of these rows' rooms from day 0 to ``until_d``, both (answers,)."""
        step = last_below(self._start_d, rows, until_d)
        within = until_d - self._start_d[rows, step]
        done = [c.progress[rows, step] + c.rate[rows, step] * within for c in self._clocks]
        slopes = [c.progress[rows, step] + c.rate[rows, step] * within for c in self._slopes]
        return RouteMeans(*(d / until_d for d in done), *(s / d for s, d in zip(slopes, done, strict=True)))
