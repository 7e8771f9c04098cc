"""The studio's settings, limits of the rules, ends of sittings and what a stack planned, as JSON for programs."""

from datetime import datetime
from typing import Literal

from server.formats.board_json import Told


class LimitOut(Told):
    """A limit that rules of soundness look at; ``unit`` is "1" for a ratio or a share."""

    name: str
    value: float
    default: float
    unit: str
    low: float
    high: float
    meaning: str
    basis: str
    rules: tuple[str, ...]


class LimitsOut(Told):
    items: tuple[LimitOut, ...]


class MixLeft(Told):
    """A mix that was left: its label, millilitres where they were told, and how it is kept."""

    label: str
    left_ml: float | None
    kept_in: str


class PaintedThenOut(Told):
    """A layer that was painted in a sitting, and its panel."""

    panel_uid: str
    title: str
    kind: str


class EndOfSitting(Told):
    """The end of a sitting. ``rags``: what was done with them; ``painted``: all since the end before, within a day."""

    uid: str
    ended_at: datetime
    archived_at: datetime | None
    rags: str
    brushes: bool
    lids: bool
    note: str
    painted: tuple[PaintedThenOut, ...]
    mixes: tuple[MixLeft, ...]


class EndsOfSittings(Told):
    items: tuple[EndOfSitting, ...]
    next_after: str | None


class AppliedOut(Told):
    """The layers that a stack planned on a panel, the lowest first."""

    panel_uid: str
    layer_uids: tuple[str, ...]


Way = Literal["up", "down"]
