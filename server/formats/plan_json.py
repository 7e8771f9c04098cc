"""Plans and the dates promised by them, as JSON for programs.

Days are dates in the studio's zone, instants carry their offset, chances go from 0 to 1, ``*_min`` are minutes and
``*_d`` days.
"""

from datetime import date, datetime
from typing import Literal

from server.formats.board_json import Told


class BrokenOut(Told):
    """Why a sitting holds no more: its day is over, its layer is ready only from ``ready_from``, it lies outside the
    hours of its painter as they are now, ``rule`` stops it on its day, or where ``below`` has a name the layer of that
    name which it waits for, or ("short") with its mixing it ``takes_min`` minutes by now and the plan has ``has_min``
    for it; both are 0 where that is not why."""

    why: Literal["missed", "not_ready", "off_hours", "stopped", "short", "other_clock"]
    ready_from: date | None
    rule: str
    below: str
    takes_min: int
    has_min: int


class PlannedSittingOut(Told):
    """A sitting: ``mixing_min`` before ``start_at`` go into mixing; ``slip_to`` is the latest start that harms nothing
    while all else stays; ``why`` it is not sooner; ``palette`` is what is mixed for it, the same for several;
    ``cautions`` are those that the rules had of it on its day when the plan was made.

    Of the plan in use, ``fate`` is what became of it, "moved" where its day was changed by hand, and ``broken`` why one
    that stands holds no more. Of a plan that waits, ``broken`` is why it would hold no more if it were taken now. Else
    both are null, and of a layer that is not there any more."""

    layer_uid: str
    panel_uid: str
    title: str
    kind: str
    painter: str
    start_at: datetime
    end_at: datetime
    palette: str | None
    mixing_min: int
    why: str
    slip_to: datetime
    pinned: bool
    cautions: tuple[str, ...]
    fate: Literal["stands", "painted", "moved"] | None
    broken: BrokenOut | None


class PlanRiskOut(Told):
    """The days a panel can be delivered, at the 10th, 50th and 90th percentile; ``weakest``: the wait that costs most
    of its odds, by its layer where ``wait`` is "drying"."""

    low_on: date
    central_on: date
    high_on: date
    wait: str
    weakest: str


class PlanOptionOut(Told):
    """What would help a late panel, as it was tried; ``key`` applies it, "" where nothing can be applied."""

    text: str
    finish_on: date
    saves_d: int
    key: str


class PlannedPanelOut(Told):
    """A panel of a plan: of the plan in use as it stands now, while there are layers to paint on it, of a plan that
    waits or was put away as it was worked out when it was made.

    ``finish_on``: the day it can be delivered, with every wait at the studio's confidence, and packed and brought where
    it has a date; null where a layer to come has no sitting that stands. ``late_d``: by how many days that comes after
    its date, 0 where it does not. ``odds``: the chance of its date, drawn with waits that may be shorter or longer;
    null without a date, and once it is past or the panel is finished. So a panel may well make a date that it is late
    for at the studio's confidence. ``options``: what would help, while it comes to the day they were tried for."""

    panel_uid: str
    title: str
    finish_on: date | None
    late_d: int
    odds: float | None
    risk: PlanRiskOut | None
    options: tuple[PlanOptionOut, ...]


class LeftOutOut(Told):
    """A panel that the plan leaves out, and why."""

    panel_uid: str
    title: str
    reason: str


class UnplacedSittingOut(Told):
    """A layer that found no day, and why."""

    layer_uid: str
    kind: str
    reason: str


class LetGoOut(Told):
    """A layer whose pin the plan could not keep: it cannot be painted any more where it was pinned."""

    layer_uid: str
    panel_uid: str
    title: str
    kind: str


class HeldOut(LetGoOut):
    """A pinned layer that stays where it is pinned though something is against it. ``why``: "release" before what is on
    the panel is counted on as ready, which is ``ready_on`` where that is a later day; "dry" and "tacky" before the
    layer below, pinned too, is; "wet_in_wet" when that has set; else there is no room beside what else is pinned."""

    why: str
    ready_on: date | None


class PlanSettingsOut(Told):
    """``share_wait_d``: for how many days a panel could wait to share a mix, the studio's choice when the plan was
    made. A mix more weighed as much as a panel that leaves so many days later than it could."""

    easels: int | None
    rack_places: int | None
    mix_setup_min: int
    share_wait_d: float


class StudioPlanOut(Told):
    """``state``: a plan waits to be looked at, is in use, or was put away. It is told as it was worked out then,
    but for the panels of the plan in use and what of the sittings does not hold by now. ``let_go``, ``held``: what
    became of pins when it was made; of a plan that waits those of layers still to come, none of the plan in use."""

    uid: str
    version: int
    state: Literal["waiting", "in_use", "put_away"]
    made_on: date
    created_at: datetime
    accepted_at: datetime | None
    archived_at: datetime | None
    settings: PlanSettingsOut
    sittings: tuple[PlannedSittingOut, ...]
    panels: tuple[PlannedPanelOut, ...]
    left_out: tuple[LeftOutOut, ...]
    unplaced: tuple[UnplacedSittingOut, ...]
    let_go: tuple[LetGoOut, ...]
    held: tuple[HeldOut, ...]


class StudioPlansOut(Told):
    items: tuple[StudioPlanOut, ...]
    next_after: str | None


class SearchOut(Told):
    """A long search: ``share`` of its time that is over, the ``cost`` of its best plan beside the first one's."""

    state: Literal["running", "done", "failed"]
    seconds: int
    share: float
    first_cost: float | None
    cost: float | None
    fault: str


class WorkShareOut(Told):
    title: str
    kind: str
    region: str
    ml: float


class WorkMixOut(Told):
    """A mix of one day for all sittings that use it, by the first of them."""

    mix_uid: str
    label: str
    ml: float
    by_at: datetime
    shares: tuple[WorkShareOut, ...]


class WorkPainterOut(Told):
    painter: str
    mixes: tuple[WorkMixOut, ...]
    sittings: tuple[PlannedSittingOut, ...]


class WorkTestOut(Told):
    """What to press; ``kind`` is the layer's, "" for a finished picture to swab."""

    panel_uid: str
    title: str
    kind: str


class WorkStepOut(Told):
    """A step of a panel's finish that is planned for the day and not done; ``opens_on``: where that is too early, the
    day until which a rule stops it."""

    panel_uid: str
    title: str
    step_uid: str
    action: str
    opens_on: date | None


class WorkDayOut(Told):
    on: date
    painters: tuple[WorkPainterOut, ...]
    tests: tuple[WorkTestOut, ...]
    steps: tuple[WorkStepOut, ...]


class WorkWeekOut(Told):
    """A week from its Monday: the days on which something is to be done."""

    first: date
    has_plan: bool
    painters: tuple[str, ...]
    days: tuple[WorkDayOut, ...]


class QuoteSittingOut(Told):
    kind: str
    start_at: datetime
    end_at: datetime
    painter: str


class EndangeredOut(Told):
    """A promise given before whose odds fall beside the commission."""

    panel_uid: str
    title: str
    before: float
    after: float


class VarnishDaysOut(Told):
    first_on: date
    last_on: date


class QuoteAskedOut(Told):
    """What was asked."""

    title: str
    for_whom: str
    width_cm: float
    height_cm: float
    stack_uid: str
    place_uid: str
    support: str
    ground_kind: str
    ground_surface: str
    finish: str
    packing_d: int
    transit_d: int
    wanted_on: date | None


class SlippingOut(Told):
    """A panel whose days in the plan in use do not hold any more."""

    panel_uid: str
    title: str


class QuoteOut(Told):
    """A date for a commission as it was worked out then: ``odds`` that ``deliver_on`` is kept, ``wanted_odds`` of the
    day that was wished for. ``panel_uid``: the panel it became. ``age``: "over" once the moment to begin has passed,
    "changed" when something that dates are worked out from was changed since."""

    uid: str
    version: int
    created_at: datetime
    archived_at: datetime | None
    asked: QuoteAskedOut
    stack: str
    made_on: date
    deliver_on: date
    central_on: date
    odds: float | None
    wanted_odds: float | None
    start_at: datetime
    sittings: tuple[QuoteSittingOut, ...]
    endangered: tuple[EndangeredOut, ...]
    slipping: tuple[SlippingOut, ...]
    varnish: VarnishDaysOut | None
    panel_uid: str | None
    age: Literal["stands", "changed", "over"]


class QuoteEndangeredOut(Told):
    """A panel's date (``panel_uid``) or that of another open quote (``quote_uid``): the odds of it beside the plan
    alone, and then."""

    panel_uid: str | None
    quote_uid: str | None
    title: str
    before: float
    after: float


class QuoteOthersOut(Told):
    """A quote beside the other open ones that were ``counted``, as of now: ``deliver_on`` and ``start_at`` if they are
    taken first, null where it finds no place then or none was counted; what is ``endangered`` if all are taken so; and
    the quotes that it ``breaks`` if it is taken first. Of several quotes with one title and buyer the last counts, and
    none of those with its own; one that is taken, put away or past its start does not."""

    counted: tuple[str, ...]
    deliver_on: date | None
    start_at: datetime | None
    endangered: tuple[QuoteEndangeredOut, ...]
    breaks: tuple[QuoteEndangeredOut, ...]


class QuotesOut(Told):
    items: tuple[QuoteOut, ...]
    next_after: str | None


class QuoteTakenOut(Told):
    quote_uid: str
    panel_uid: str
