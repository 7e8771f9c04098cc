"""The room as a layer meets it, step by step, and clocks that run with it.

A stage is reached when the integral of dt / T_stage(climate at t) is 1, T_stage being the constant-climate time. The
climate is constant within a step, so the integral is a sum and exact: splitting a step changes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

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

    ``light`` (rooms, 1) where it never changes. ``extreme`` and ``damp``, shape (rooms,): colder than 5 C or warmer
    than 35 C, above 60 % humidity, at times.
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

    def climate(self, warmth: np.ndarray | None = None) -> Climate:
        """The factors of every step with the central activation energies; ``warmth``: 1/T - 1/294.15, if at hand."""
        warmth = self.inverse_kelvin if warmth is None else warmth
        auto, cat, front = (np.asarray(arrhenius(warmth, _energy(route))) for route in ("auto", "cat", "dif"))
        if self.damp.any():
            humidity = humidity_factor(self.relative_humidity_pct)
            auto *= humidity
            cat *= humidity
        auto *= self.light
        return Climate(auto, cat, front)


def _energy(route: str) -> float:
    return reference.value(f"activation_{route}_kj_mol")


class Steps(NamedTuple):
    """The steps of a room, one column each: from when, °C, %, and light, a number where it is the same throughout."""

    start_d: np.ndarray
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray
    light: np.ndarray | float


def steps_of(room: Room) -> Steps:
    """The steps of a room, without copying what needs no change.

    Steps that change nothing are left out, so that a step split in two is the step it was. The first step counts from
    the painting on, whatever it says. Raises InputError when there is no step, or when they are not numbers in order
    from day 0.
    """
    if not len(room.steps):
        raise InputError("room.steps", "a room needs at least one climate")
    steps = _columns(room)
    start_d, warmth, damp, light = steps
    least, most = (light, light) if isinstance(light, float) else (light.min(), light.max())
    if not 0 < least <= most < np.inf:
        raise InputError("room.light", "must be above zero")
    later = start_d[1:]
    in_order = not len(later) or (later[0] >= 0.0 and not np.any(later[1:] < later[:-1]))
    if not in_order or not np.isfinite(later.sum() + warmth.sum() + damp.sum()):
        raise InputError("room.steps", "the steps of a room must be numbers, each later than the one before")
    changes = warmth[1:] != warmth[:-1]
    for column in (damp, light):
        if changes.all():
            return steps
        if not isinstance(column, float):
            changes |= column[1:] != column[:-1]
    if changes.all():
        return steps
    kept = np.concatenate(([True], changes))
    return Steps(start_d[kept], warmth[kept], damp[kept], light if isinstance(light, float) else light[kept])


def step_table(room: Room) -> np.ndarray:
    """The same as a table, shape (4, steps), that begins with day 0. Raises InputError likewise."""
    start_d, warmth, damp, light = steps_of(room)
    table = np.stack([start_d, warmth, damp, np.broadcast_to(light, start_d.shape)])
    table[0, 0] = 0.0
    return table


def _columns(room: Room) -> Steps:
    if isinstance(room.steps, RoomSteps):
        start_d, warmth, damp, light = room.steps.columns
        return Steps(start_d, warmth, damp, light if room.steps.own_light else float(room.light))
    own = [s.light for s in room.steps]
    start_d, warmth, damp = np.array([(s.from_d, s.temperature_c, s.relative_humidity_pct) for s in room.steps]).T
    if all(light is None for light in own):
        return Steps(start_d, warmth, damp, float(room.light))
    lights = [room.light if light is None else light for light in own]
    return Steps(start_d, warmth, damp, np.array(lights, dtype=float))


def rooms_of(rooms: Sequence[Steps]) -> Rooms:
    """Rooms side by side, from their steps."""
    counts = [len(room.start_d) for room in rooms]
    most = max(counts)
    whole = np.empty((3, len(rooms), most))
    one_light = all(isinstance(room.light, float) for room in rooms)
    light = np.empty((len(rooms), 1 if one_light else most))
    for i, (room, count) in enumerate(zip(rooms, counts, strict=True)):
        for column, values in zip(whole[:, i], room[:3], strict=True):
            column[:count] = values
            column[count:] = values[-1]
        whole[0, i, count:] += np.arange(1, most - count + 1)
        light[i] = room.light if isinstance(room.light, float) else np.pad(room.light, (0, most - count), mode="edge")
    whole[0, :, 0] = 0.0
    return _rooms(whole, light)


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
    columns = table.T[:, :, None]
    return _rooms(columns[:3], columns[3])


def _rooms(columns: np.ndarray, light: np.ndarray) -> Rooms:
    """From columns of shape (3, rooms, steps)."""
    start_d, temperature_c, humidity_pct = columns
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
    rooms = rooms_of([steps_of(room)])
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
