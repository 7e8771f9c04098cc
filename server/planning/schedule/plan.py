"""The answer: sittings with their times, panels with their dates, and the terms of the objective."""

from dataclasses import dataclass, field
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class Binding:
    """Why a sitting is not earlier. ``by`` names the sitting, painter or palette that holds it, if one does."""

    kind: str
    by: str | None
    text: str


@dataclass(frozen=True, slots=True)
class PlacedSitting:
    """Painting from ``start_at`` to ``end_at``; the palette is mixed in the ``set_up_min`` minutes before.

    ``ready_at``: when its layer may take the next one, at the confidence asked for. ``may_slip_to``: the latest start
    that harms nothing while all else stays.
    """

    id: str
    panel: str
    painter: str
    start_at: datetime
    end_at: datetime
    palette: str | None = None
    set_up_min: int = 0
    ready_at: datetime | None = None
    may_slip_to: datetime | None = None
    binding: Binding | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """What would help a late panel, tried: when it would be delivered, and the days that saves.

    ``key`` stands for what is to be done; ``starts`` are the days its sittings would be on.
    """

    text: str
    finish_on: date
    saves_d: int
    key: str = ""
    starts: tuple[tuple[str, date], ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedPanel:
    """``finish_on``: the day it is deliverable; None when a sitting found no place. ``earliest_on``: had it the studio
    to itself."""

    id: str
    finish_on: date | None
    late_d: int
    earliest_on: date | None
    options: tuple[Option, ...] = ()


@dataclass(frozen=True, slots=True)
class Objective:
    """The terms, each before its price; ``total`` is their priced sum."""

    total: float = 0.0
    weighted_tardiness_d: float = 0.0
    set_ups: int = 0
    flow_d: int = 0
    moved: int = 0


@dataclass(frozen=True, slots=True)
class Moved:
    """A sitting that changed its day."""

    sitting: str
    from_at: datetime
    to_at: datetime


@dataclass(frozen=True, slots=True)
class Unplaced:
    sitting: str
    reason: str


@dataclass(frozen=True, slots=True)
class Plan:
    sittings: tuple[PlacedSitting, ...]
    panels: tuple[PlannedPanel, ...]
    objective: Objective
    moved: tuple[Moved, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    warnings: tuple[str, ...] = field(default=())
