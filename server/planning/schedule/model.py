"""From a question in days and names to columns of numbers, with what the question itself has fixed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.planning.schedule import tables
from server.planning.schedule.calendar import Window, Zone, windows
from server.planning.schedule.pins import share_out
from server.planning.schedule.problem import PanelJob, Previous, Problem, Sitting
from server.planning.schedule.shape import Laid, Shape
from server.planning.schedule.speed import Clocks
from server.planning.schedule.tables import Tables

LEAST_SPARE_DAYS, MOST_SPARE_DAYS = 60, 60_000  # of the clock beyond the last window: racks and final waits run on


@dataclass(frozen=True, slots=True)
class Kept:
    """What of the plan before is not to move: ``pinned`` stays where it is, ``done`` is over, ``left_out`` has no
    place."""

    pinned: dict[str, Previous]
    done: dict[str, Previous]
    left_out: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Model:
    """What the columns' numbers stand for. ``pins`` maps a sitting's number to its window."""

    problem: Problem
    shape: Shape
    days: int

    @property
    def zone(self) -> Zone:
        return self.shape.zone

    @property
    def windows(self) -> tuple[Window, ...]:
        return self.shape.windows

    @property
    def panels(self) -> tuple[PanelJob, ...]:
        return self.problem.panels

    @property
    def sittings(self) -> tuple[Sitting, ...]:
        return self.shape.sittings

    @property
    def panel_of(self) -> tuple[int, ...]:
        """The panel of each sitting."""
        return self.shape.panel_of

    @property
    def pins(self) -> dict[int, int]:
        return self.shape.pins


def kept_of(problem: Problem, left_out: Iterable[str] = (), free: Iterable[str] = ()) -> Kept:
    """Pins and sittings of today, but for those named ``free``; a pin in the past that is not done was missed."""
    zone = Zone(problem.zone, problem.today)
    loose = set(free)
    pinned = {}
    for one in problem.previous:
        day = zone.day_of(one.start_at)
        stays = (one.pinned and day >= 0) or (problem.keep_today and day == 0)
        if stays and not one.done and one.sitting not in loose:
            pinned[one.sitting] = one
    done = {one.sitting: one for one in problem.previous if one.done}
    return Kept(pinned, done, frozenset(left_out))


def build(problem: Problem, days: int, kept: Kept) -> Model:
    """The model for so many days from today."""
    zone = Zone(problem.zone, problem.today)
    of = {s.id: s for panel in problem.panels for s in panel.sittings}
    found, pinned = _with_pins(problem, windows(problem.painters, zone, days), of, kept)
    least = min((zone.day_of(one.start_at) for one in problem.previous), default=0)
    beyond = days + _spare_days(problem)
    clocks = Clocks(problem, zone, min(least, 0) - 1, beyond)
    made = Tables(found, clocks, zone, beyond, round_up=tables.needs_rounding(problem))
    done = {key: _laid(problem, of[key], one, zone) for key, one in kept.done.items() if key in of}
    rows = tuple(
        tuple(tables.in_order(panel, [s for s in panel.sittings if s.id not in done and s.id not in kept.left_out]))
        for panel in problem.panels
    )
    number = {s.id: n for n, s in enumerate(s for row in rows for s in row)}
    pins = {number[key]: b for key, b in pinned.items() if key in number}
    return Model(problem, Shape(problem, zone, found, made, rows, pins, done), days)


def _spare_days(problem: Problem) -> int:
    """Days beyond the last window in which the longest wait of the problem is surely over."""
    waits = [panel.final_wait.at(problem.confidence) for panel in problem.panels]
    for sitting in (s for panel in problem.panels for s in panel.sittings):
        waits += [sitting.rack_d or 0.0, sitting.drying.at(problem.confidence) if sitting.drying else 0.0]
    rest_d = max((link.rest_d for panel in problem.panels for link in panel.links), default=0.0)
    longest_d = max(max(waits, default=0.0) / problem.slowest, rest_d)
    return min(MOST_SPARE_DAYS, LEAST_SPARE_DAYS + int(longest_d))


def _with_pins(
    problem: Problem, found: Sequence[Window], of: dict[str, Sitting], kept: Kept
) -> tuple[tuple[Window, ...], dict[str, int]]:
    """The windows, with one of its own for each pinned sitting that lies outside the hours."""
    zone = Zone(problem.zone, problem.today)
    own: dict[str, Window] = {}
    inside: dict[str, list[Window]] = {}
    starts: dict[str, int] = {}
    for key, one in kept.pinned.items():
        if key in of:
            allowed = _hands_of(problem, of[key], one)
            start, day = round(zone.minute_of(one.start_at)), zone.day_of(one.start_at)
            there = (w for w in found if w.day == day and w.painter in allowed)
            inside[key] = [w for w in there if w.start_min <= start < w.end_min]
            starts[key] = start
            if not inside[key]:
                own[key] = _own_window(problem, of[key], start, allowed[0], day)
    own |= share_out(inside, starts, of, problem.set_up_min)
    every = sorted({*found, *own.values()}, key=lambda w: (w.start_min, w.painter, w.end_min))
    position = {window: n for n, window in enumerate(every)}
    return tuple(every), {key: position[window] for key, window in own.items()}


def _hands_of(problem: Problem, sitting: Sitting, one: Previous) -> list[int]:
    """Who may have a pinned sitting: the painter it was with where that is known and still may."""
    places = {p.id: n for n, p in enumerate(problem.painters)}
    allowed = [places[p] for p in sitting.painters] or list(places.values())
    return [places[one.painter]] if one.painter in places and places[one.painter] in allowed else allowed


def _own_window(problem: Problem, sitting: Sitting, start_min: int, painter: int, day: int) -> Window:
    """Working time for one sitting outside the hours: from the mixing of its palette on, so that it begins on time."""
    mixing = 0 if sitting.palette is None else problem.set_up_min
    return Window(start_min - mixing, start_min + sitting.minutes, painter, day)


def may_have_had(one: Previous, painter: str, sitting: Sitting) -> bool:
    """Whether a sitting of the plan before may have been in a painter's hand."""
    return one.painter in (None, painter) and (not sitting.painters or painter in sitting.painters)


def _laid(problem: Problem, sitting: Sitting, one: Previous, zone: Zone) -> Laid:
    """A layer counts as laid at the end of its sitting's window; out of hours at the end of the sitting."""
    start, day = zone.minute_of(one.start_at), zone.day_of(one.start_at)
    here = Zone(problem.zone, one.start_at.astimezone(problem.zone).date())
    shift = zone.minute_of(here.origin)
    for painter in problem.painters:
        if not may_have_had(one, painter.id, sitting):
            continue
        for window in windows((painter,), here, 1):
            if window.start_min + shift <= start < window.end_min + shift:
                return Laid(window.start_min + shift, window.end_min + shift, day)
    return Laid(start, start + sitting.minutes, day)
