"""What a board tells of a panel: one type a fact, read by Today, the calendar and the panel's own page alike.

Days are dates in the studio's zone; instants are aware UTC. Texts are left to the pages, except names the painter gave.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from server.science.results import Composition, FilmState, Stage
from server.science.soundness.types import Material, Verdict
from server.services.board.due_step import DueFact
from server.services.board.layer_stop import LayerStop
from server.services.board.test_fact import TestFact
from server.services.plan_reading import BrokenSitting, PlannedSitting


@dataclass(frozen=True, slots=True)
class Moment:
    """What a board looks at: the instant ``at``, its day ``on`` and the day's first instant, in the studio's ``zone``.

    ``today`` is the real day, which differs from ``on`` when another day was chosen. Now is rounded up to `EVERY`, so
    that all screens of these minutes tell the same, and what was worked out for one serves the next.
    """

    at: datetime
    on: date
    day_start: datetime
    today: date
    zone: ZoneInfo


class Standing(StrEnum):
    """Where a panel stands. The first four are asked of the next layer; the others have none to ask about."""

    READY = "ready"
    TEST_FIRST = "test"
    RESTS = "rests"
    STOPPED = "stopped"
    UNPLANNED = "unplanned"  # paint or bare ground, and no layer planned
    FINISHED = "finished"  # the last layer is on


@dataclass(frozen=True, slots=True)
class DaySpan:
    """A forecast as days: the shortest run of them that holds at least eight chances in ten.

    ``low`` to ``high``, both counted, hold ``mass`` of the chance, and by the end of ``high`` it has come with the
    chance ``until``. ``central`` is the middle; ``likeliest`` is set where one day stands out; by the end of ``sure``
    it has come nine times in ten. A day that is known has mass 1.
    """

    low: date
    central: date
    high: date
    mass: float = 1.0
    until: float = 1.0
    likeliest: date | None = None
    sure: date | None = None


@dataclass(frozen=True, slots=True)
class RegionFact:
    """One mix of a layer. ``ml`` is what to mix for its share of the panel, texture and loss included.

    ``share`` 0 to 1; ``swatch`` #rrggbb as the painter sees it or as worked out; ``holds_up`` marks the region the
    whole layer waits for; ``stages`` and ``composition`` are empty and None for mixes that cannot be estimated.
    """

    name: str
    mix_uid: str
    mix_label: str
    swatch: str
    share: float
    ml: float
    holds_up: bool
    stages: Mapping[Stage, DaySpan]
    composition: Composition | None


@dataclass(frozen=True, slots=True)
class LayerFact:
    """One layer of a panel.

    ``number`` counts from 1 at the bottom. ``stages`` (empty without a forecast) are the model's days after what the
    touch tests said; ``promised`` what was forecast when it was painted. ``state`` and ``odds`` (0 to 1 for each state)
    are those of the film at the moment looked at. ``holds_up`` names the region that a layer of several waits for.
    ``over`` is the verdict on it over what is below, when it went on or may go on. ``no_forecast`` says why there is
    none. ``earliest``: when a planned layer may go on, ``planned_from``: at the studio's confidence. ``hazards``: of
    its mixes and thinner. ``sitting``: where the plan in use has it. ``first_dry_at``: see ``last_wet.py``.
    """

    uid: str
    version: int
    number: int
    kind: str
    material: Material
    wet_thickness_um: float
    thickness_preset: str | None
    texture: str
    solvent_pct: float
    wet_in_wet: bool
    sitting_min: int | None
    notes: str
    painted_at: datetime | None
    planned_on: date | None
    age_d: float | None
    regions: tuple[RegionFact, ...]
    stages: Mapping[Stage, DaySpan]
    promised: Mapping[Stage, DaySpan]
    state: FilmState
    odds: Mapping[FilmState, float]
    tests: tuple[TestFact, ...]
    holds_up: str | None
    over: Verdict | None
    no_forecast: str | None
    earliest: DaySpan | None
    planned_from: date | None
    hazards: tuple[str, ...]
    sitting: PlannedSitting | None = None
    first_dry_at: datetime | None = None

    @property
    def is_painted(self) -> bool:
        return self.painted_at is not None

    @property
    def has_doubt(self) -> bool:
        """Whether one of its tests waits for the painter's word."""
        return any(test.doubt for test in self.tests)

    @property
    def ml(self) -> float:
        """Millilitres for the whole layer."""
        return sum(region.ml for region in self.regions)


@dataclass(frozen=True, slots=True)
class PressFact:
    """A press that would tell most: ``at`` a waking hour, when the layer is dry to the touch with ``chance``.

    ``is_now``: it is about that time, so that a press counts as asked for.
    """

    at: datetime
    chance: float
    is_now: bool


@dataclass(frozen=True, slots=True)
class RestFact:
    """How long the top layer holds the panel up. Days are None for bare ground and for layers without a forecast.

    ``touch`` is the span of dry-to-touch; a test is worth while from ``test_from`` (p10), the next layer may go on from
    ``ready_from`` (p90) without one, and is best from ``best_from`` (central dry-to-recoat). ``touch_odds`` is the
    chance, 0 to 1, that the layer is dry to the touch now. ``allowed_from`` is the day a stopping rule names; ``press``
    the next touch test that would tell most.
    """

    touch: DaySpan | None
    test_from: date | None
    ready_from: date | None
    best_from: date | None
    touch_odds: float | None
    allowed_from: date | None
    press: PressFact | None = None


@dataclass(frozen=True, slots=True)
class StepFact:
    """One step of the finish: ``action`` as the rules name it, planned until ``done_at`` is set. ``opens_on``: the day
    until which a rule stops it, of a step that is planned for a day before that."""

    uid: str
    version: int
    action: str
    planned_on: date | None
    done_at: datetime | None
    transit_c: float | None
    note: str
    override_reason: str
    opens_on: date | None = None


@dataclass(frozen=True, slots=True)
class FinishTestFact:
    """A swab, a turned thumb or a fingernail in a finished picture; ``passed``: it left nothing behind."""

    uid: str
    method: str
    result: str
    tested_at: datetime
    place_on_panel: str
    note: str
    passed: bool


@dataclass(frozen=True, slots=True)
class ClosingFact:
    """What becomes of a picture after its last layer.

    ``steps`` planned ones first by day, then those done; ``tests`` from the latest. ``varnish`` is from when a final
    varnish may be tested for, as a range, no day of it before the rules let one; ``swab_from`` the day from which the
    rules let one test, None once it is varnished or nobody knows, ``swab_due`` that this day has come; ``swabbed``
    that the swab stayed clean and only the varnish is wanting; ``varnished_at`` when a final varnish went on, and
    ``sent_on`` the day it was sent, both of the picture as it is: what was done before the last layer does not count.
    ``since``: when that layer went on.
    """

    steps: tuple[StepFact, ...]
    tests: tuple[FinishTestFact, ...]
    varnish: DaySpan | None
    swab_from: date | None
    swab_due: bool
    swabbed: bool
    varnished_at: datetime | None
    sent_on: date | None = None
    since: datetime | None = None

    @property
    def is_behind(self) -> bool:
        """Whether nothing tells of its paint by a fingertip any more: varnished for good, or gone."""
        return self.varnished_at is not None or self.sent_on is not None

    def done_since(self, action: str) -> datetime | None:
        """When something was last done to the picture as it is; None: not since its last layer."""
        done = (step.done_at for step in self.done if step.action == action and step.done_at is not None)
        return max((at for at in done if self.since is None or at >= self.since), default=None)

    @property
    def planned(self) -> tuple[StepFact, ...]:
        return tuple(step for step in self.steps if step.done_at is None)

    @property
    def done(self) -> tuple[StepFact, ...]:
        return tuple(step for step in self.steps if step.done_at is not None)


@dataclass(frozen=True, slots=True)
class GateFact:
    """One thing that may be done to a picture: the verdict on it now, and from when it may be tried, as a range.

    ``opens_on`` is the day a stopping or warning rule names; ``no_forecast`` says that a film's drying is not known.
    """

    action: str
    verdict: Verdict | None
    first: DaySpan | None
    opens_on: date | None
    no_forecast: bool


@dataclass(frozen=True, slots=True)
class StackBand:
    """A layer that is on, as small drawings show it: its colours with their shares, its film wet and dried."""

    colours: tuple[tuple[str, float], ...]
    wet_thickness_um: float
    film_um: float
    state: FilmState


@dataclass(frozen=True, slots=True)
class PanelFact:
    """Everything a list says of a panel.

    ``verdict`` is on the next layer now, ``lightly`` on working lightly into a tacky layer, when the ordinary next
    layer is stopped by its tackiness. ``finish`` is when the last planned layer will be touch-dry; ``varnish`` the days
    from which a finished panel may be varnished. ``closing`` is there once it is finished or a step of its finish is
    planned. ``plan_stops``: the layers whose sitting in the plan in use a rule stops on its day by now, with why;
    ``broken``: those whose sitting holds no more, with why.
    ``stop``: the first layer to come that a rule stops for good or for years; there is no ``finish`` then. Facts of
    the same ``number`` are the same, on whichever board.
    """

    uid: str
    version: int
    title: str
    width_mm: float
    height_mm: float
    place: str
    standing: Standing
    top: LayerFact | None
    coming: LayerFact | None
    rest: RestFact
    verdict: Verdict | None
    lightly: Verdict | None
    due: DueFact | None
    finish: DaySpan | None
    varnish: DaySpan | None
    stack: tuple[StackBand, ...]
    layers_to_come: int
    is_archived: bool
    closing: ClosingFact | None = None
    plan_stops: tuple[tuple[str, BrokenSitting], ...] = ()
    broken: tuple[tuple[str, BrokenSitting], ...] = ()
    stop: LayerStop | None = None
    number: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class SatAt:
    """A layer that was painted in a sitting."""

    panel_uid: str
    title: str
    kind: str
    painted_at: datetime


@dataclass(frozen=True, slots=True)
class SittingFact:
    """A sitting that was not ended yet: what was painted, the earliest first, and the cautions it calls for."""

    layers: tuple[SatAt, ...]
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LeftoverFact:
    """A mix that was left over: how much, how it is kept, and up to when that is worth a test by the rule of thumb."""

    mix_uid: str
    label: str
    left_ml: float | None
    kept_in: str
    use_by_at: datetime
    use_by_on: date
    is_past: bool


@dataclass(frozen=True, slots=True)
class PlanHolds:
    """Where the plan in use holds no more: (uid, title) of panels, by their titles.

    ``slipped``: a sitting was missed, comes before its layer is ready, lies outside its painter's hours as they are
    now, or takes longer than it has; ``held``: one outside the hours is pinned; ``unplanned``: has layers to come that
    came since; ``sooner``: ready now, though the plan counted on that only days from now.
    """

    slipped: tuple[tuple[str, str], ...] = ()
    held: tuple[tuple[str, str], ...] = ()
    unplanned: tuple[tuple[str, str], ...] = ()
    sooner: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class TodayBoard:
    """Today, or another chosen day. Groups hold panels by `Standing`, most urgent first; ``at_risk`` repeats those
    whose date is at risk. ``sitting`` is one that was not ended yet. Boards of the same ``number`` are the same.
    ``planned``: the day's sittings by the plan in use, ``next_planned`` the first after; ``leftovers``: old mixes;
    ``holds``: what of that plan has to be set right today; ``plan_waits``: another waits to be taken or left."""

    number: int
    moment: Moment
    groups: Mapping[Standing, tuple[PanelFact, ...]]
    at_risk: tuple[PanelFact, ...]
    has_panels: bool
    sitting: SittingFact | None = None
    planned: tuple[PlannedSitting, ...] = ()
    next_planned: PlannedSitting | None = None
    leftovers: tuple[LeftoverFact, ...] = ()
    holds: PlanHolds = field(default_factory=PlanHolds)
    plan_waits: bool = False


@dataclass(frozen=True, slots=True)
class PanelBoard:
    """One panel's page: the panel as the lists see it, with all its layers (lowest first) and its ground.

    ``dots``: twenty equally likely days on which the top layer is dry to the touch, while that is open.
    """

    moment: Moment
    panel: PanelFact
    layers: tuple[LayerFact, ...]
    support: str
    ground_kind: str
    ground_surface: str
    ground_pigment: str | None
    ground_on: date | None
    notes: str
    finished_on: date | None
    place_uid: str
    dots: tuple[date, ...] = ()
