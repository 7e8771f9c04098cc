"""The room as a layer meets it, step by step, and clocks that run with it.

A stage is reached when the integral of dt / T_stage(climate at t) is 1, T_stage being the constant-climate time. The
climate is constant within a step, so the integral is a sum and exact: splitting a step changes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from server.science import reference
from server.science.drying import Climate, arrhenius, drying_speed, humidity_factor, inverse_kelvin
from server.science.errors import InputError
from server.science.recipe import Room, RoomSteps
from server.science.routes import RouteMeans

Days = float | np.ndarray
FAR_D = 1e9  # how long the last step is taken to last
EXTREME_C = (5.0, 35.0)  # beyond, the model is extrapolated
DAMP_PCT = 60.0


@dataclass(frozen=True, slots=True)
class Rooms:
    """Rooms side by side, shape (rooms, steps); shorter ones repeat their last step day by day.

    ``extreme`` and ``damp``, shape (rooms,): colder than 5 C or warmer than 35 C, above 60 % humidity, at times.
    """

    start_d: np.ndarray
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray
    light: np.ndarray
    extreme: np.ndarray
    damp: np.ndarray

    def of(self, rows: np.ndarray) -> "Rooms":
        """The rooms of these rows."""
        return Rooms(*(getattr(self, f.name)[rows] for f in fields(Rooms)))

    def of_rooms(self, first: int, last: int) -> "Rooms":
        """The rooms from one position up to another, without copying."""
        return Rooms(*(getattr(self, f.name)[first:last] for f in fields(Rooms)))

    @property
    def inverse_kelvin(self) -> np.ndarray:
        """1/T - 1/294.15 in 1/K of every step."""
        return np.asarray(inverse_kelvin(self.temperature_c))

    def climate(self) -> Climate:
        """The factors of every step with the central activation energies."""
        warmth = self.inverse_kelvin
        humidity = np.asarray(humidity_factor(self.relative_humidity_pct)) if self.damp.any() else 1.0
        return Climate(
            auto=self.light * humidity * arrhenius(warmth, _energy("auto")),
            cat=humidity * arrhenius(warmth, _energy("cat")),
            front=np.asarray(arrhenius(warmth, _energy("dif"))),
        )


def _energy(route: str) -> float:
    return reference.value(f"activation_{route}_kj_mol")


def step_table(room: Room) -> np.ndarray:
    """The steps of a room, shape (4, steps): from_d, temperature_c, relative_humidity_pct, light.

    Steps that change nothing are left out, so that a step split in two is the step it was. The first step counts from
    the painting on. Raises InputError when there is no step, or when they are not numbers in order from day 0.
    """
    if not len(room.steps):
        raise InputError("room.steps", "a room needs at least one climate")
    table = _columns(room)
    if not 0 < table[3].min() <= table[3].max() < np.inf:
        raise InputError("room.light", "must be above zero")
    if not np.isfinite(table.sum()) or np.any(table[0, 1:] < table[0, :-1]):
        raise InputError("room.steps", "the steps of a room must be numbers, each later than the one before")
    changes = (table[1, 1:] != table[1, :-1]) | (table[2, 1:] != table[2, :-1]) | (table[3, 1:] != table[3, :-1])
    if not changes.all():
        table = table[:, np.concatenate(([True], changes))]
    return table


def _columns(room: Room) -> np.ndarray:
    if isinstance(room.steps, RoomSteps):
        if room.steps.own_light and room.steps.columns[0, 0] == 0.0:
            return room.steps.columns  # never written to
        table = room.steps.columns.copy()
        table[0, 0] = 0.0
        if not room.steps.own_light:
            table[3] = room.light
        return table
    rows = [
        (s.from_d, s.temperature_c, s.relative_humidity_pct, room.light if s.light is None else s.light)
        for s in room.steps
    ]
    table = np.array(rows, dtype=float).T.copy()
    table[0, 0] = 0.0
    return table


def rooms_of(tables: Sequence[np.ndarray]) -> Rooms:
    """Rooms side by side, from the tables of their steps."""
    counts = np.array([table.shape[1] for table in tables])
    most = int(counts.max())
    whole = np.empty((4, len(tables), most))
    for i, table in enumerate(tables):
        whole[:, i, : counts[i]] = table
        if counts[i] < most:
            whole[:, i, counts[i] :] = table[:, -1:]
            whole[0, i, counts[i] :] += np.arange(1, most - counts[i] + 1)
    return _rooms(whole)


def constant_rooms_of(rooms: Sequence[Room]) -> Rooms:
    """Rooms of one step each. Raises InputError as ``step_table`` does."""
    rows = []
    for room in rooms:
        step = room.steps[0]
        light = room.light if step.light is None else step.light
        rows.append((0.0, step.temperature_c, step.relative_humidity_pct, light))
    table = np.array(rows, dtype=float)
    if not np.all((table[:, 3] > 0) & (table[:, 3] < np.inf)):
        raise InputError("room.light", "must be above zero")
    if not np.isfinite(table).all():
        raise InputError("room.steps", "the steps of a room must be numbers, each later than the one before")
    return _rooms(table.T[:, :, None])


def _rooms(whole: np.ndarray) -> Rooms:
    """From columns of shape (4, rooms, steps)."""
    start_d, temperature_c, humidity_pct, light = whole
    coldest, hottest = temperature_c.min(axis=1), temperature_c.max(axis=1)
    return Rooms(
        start_d,
        temperature_c,
        humidity_pct,
        light,
        (coldest < EXTREME_C[0]) | (hottest > EXTREME_C[1]),
        humidity_pct.max(axis=1) > DAMP_PCT,
    )


def constant_means(rooms: Rooms) -> RouteMeans:
    """The first step of every room, as what its films meet for good."""
    climate = rooms.climate()
    auto, cat, front = (np.asarray(factor)[:, 0] for factor in (climate.auto, climate.cat, climate.front))
    slope = rooms.inverse_kelvin[:, 0]
    return RouteMeans(auto, cat, front, slope, slope, slope)


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


def reference_clock(room: Room) -> Clock:
    """A clock of one row that runs with the room: its progress is effective days, days in the reference room.

    Its rate is the room's drying speed, equation (16): how fast a 50 um neutral linseed layer comes to dry-to-recoat
    against the reference room of 21 C, 50 % relative humidity and light 1. One day there is one effective day.
    Raises InputError when the room has no step or its steps are not in order.
    """
    rooms = rooms_of([step_table(room)])
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
