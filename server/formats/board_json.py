"""A studio's boards as JSON: what Today, a panel's page and the calendar tell, for programs. Fields are added, never
renamed.

Days are dates in the studio's zone, instants aware UTC, volumes millilitres, chances 0 to 1.
"""

from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict

StandingName = Literal["ready", "test", "rests", "stopped", "unplanned", "finished"]
SeverityName = Literal["sound", "note", "caution", "stop"]
StateName = Literal["none", "wet", "tacky", "touch_dry", "firm"]
StageName = Literal["set_to_touch", "dry_to_touch", "dry_to_recoat", "dry_through", "final_varnish"]


class Told(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class BoardDays(Told):
    """A forecast as days: the tenth and the ninetieth percentile, with the central day between."""

    low: date
    central: date
    high: date


class BoardRegion(Told):
    """One mix of a layer: its share of the area and what to mix for it, texture and loss included."""

    name: str
    mix_uid: str
    share: float
    ml: float
    holds_up: bool


class BoardFinding(Told):
    """What a rule of soundness says, worst first in a verdict."""

    rule: str
    severity: SeverityName
    title: str
    reason: str
    basis: str
    source: str


class BoardVerdict(Told):
    severity: SeverityName
    findings: tuple[BoardFinding, ...]


class BoardLayer(Told):
    """A layer: painted at an instant or, planned, possible within some days. ``over`` is the verdict on it over what is
    below, at the time it went on or may go on."""

    uid: str
    number: int
    kind: str
    material: str
    wet_thickness_um: float
    painted_at: datetime | None
    planned_on: date | None
    earliest: BoardDays | None
    state: StateName
    stages: dict[StageName, BoardDays]
    regions: tuple[BoardRegion, ...]
    tests: int
    over: BoardVerdict | None


class BoardDueStep(Told):
    """A planned step of the finish that does not fit the date. ``misfit``: "early", planned before it may be done;
    "opens", may be done too late; "planned", planned too late for packing and the way; "beyond", planned for after the
    date, which is told without it. ``opens_on``: from when it may be done, ``by_rule`` or by a forecast."""

    action: str
    misfit: Literal["early", "opens", "planned", "beyond"]
    planned_on: date | None
    opens_on: date | None
    by_rule: bool


class BoardDue(Told):
    """``odds``: the chance of its being there by the date, with all done to it that is planned until then, packed
    (``packing_d`` days) and brought (``transit_d`` days); null when nothing can be said."""

    on: date
    due_for: str
    odds: float | None
    at_risk: bool
    is_late: bool
    packing_d: int
    transit_d: int
    step: BoardDueStep | None


class BoardStop(Told):
    """The first layer to come, by its kind, that a rule stops however long is waited, or ``until`` a day that is
    further off than anybody waits; the number and title of the rule."""

    kind: str
    rule: str
    title: str
    until: date | None


class BoardPanel(Told):
    """Where a panel stands, and why. ``test_from``: when a touch test is worth while; ``ready_from``: when the next
    layer may go on without one; ``allowed_from``: the day a stopping rule names. Where there is a ``stop``, ``finish``
    and the odds of the date are null."""

    uid: str
    title: str
    width_cm: float
    height_cm: float
    place: str
    standing: StandingName
    words: str
    top: BoardLayer | None
    next: BoardLayer | None
    layers_to_come: int
    test_from: date | None
    ready_from: date | None
    allowed_from: date | None
    verdict: BoardVerdict | None
    due: BoardDue | None
    finish: BoardDays | None
    varnish: BoardDays | None
    stop: BoardStop | None


class TodayOut(Told):
    """The panels by where they stand, most urgent first."""

    at: datetime
    on: date
    time_zone: str
    panels: tuple[BoardPanel, ...]


class PanelBoardOut(Told):
    """One panel with all its layers, the lowest first."""

    at: datetime
    panel: BoardPanel
    layers: tuple[BoardLayer, ...]


class BoardCalendarLayer(Told):
    """``starts``: the days on which it went on or may go on; ``days``: when it reaches its stages."""

    uid: str
    number: int
    kind: str
    is_planned: bool
    starts: BoardDays
    days: dict[StageName, BoardDays]


class BoardCalendarRow(Told):
    panel_uid: str
    title: str
    due_on: date | None
    layers: tuple[BoardCalendarLayer, ...]


class CalendarOut(Told):
    at: datetime
    time_zone: str
    rows: tuple[BoardCalendarRow, ...]
