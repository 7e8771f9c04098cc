"""From a studio's panels to the planner's question, with the same forecasts that the boards tell.

A forecast is one of today, in the panel's own place. Its days are turned into reference days by the speed of that place
in this month, and back into days by its usual year: a panel on a cold rack has the rack's winter, not the studio's.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from server.planning.outlook import Chain, begin, hold, start_of
from server.planning.schedule.problem import (
    FLOW_PRICE,
    DryingSpeed,
    Link,
    LinkKind,
    Painter,
    PanelJob,
    Previous,
    Problem,
    Sitting,
    Spread,
)
from server.planning.schedule.repair import MOST_MOVED, REPAIR_PRICE
from server.science.results import LayerEstimate, Stage, StageRange
from server.science.soundness.types import Severity
from server.services.board.facts import Moment, Standing
from server.services.board.films import LayerToCome
from server.services.board.leaving import handling_of
from server.services.board.plan_finish import final_wait
from server.services.board.plan_short import SITTING_MIN
from server.services.board.rows import StudioRows, palette_words
from server.services.board.rule_waits import LONGEST_REST_D, lies_since
from server.services.board.spans import instant, local_day, start_of_day
from server.services.board.standing import PanelStanding
from server.services.board.to_come import forecast_on
from server.services.plan_reading import Rest
from server.services.usual_year import speeds_by_month

SHORT_D = 0.01


@dataclass(frozen=True, slots=True)
class Room:
    """What the planner is told of the studio beside its panels."""

    painters: tuple[Painter, ...]
    easels: int | None
    rack_places: int | None
    set_up_min: int
    stood: dict[str, tuple[datetime, str]]  # layer -> when it stood in the plan in use, and in whose hand
    pinned: frozenset[str]
    is_repair: bool = False  # a plan in use is set right: little of it may move
    asked_before: frozenset[str] = frozenset()  # moved by hand in a plan that waits: let go where they cannot hold

    def stays(self, uid: str, start_at: datetime, zone: ZoneInfo) -> bool:
        """Whether a sitting stands on the day it stood on in a plan that is set right, or is held."""
        stood = self.stood.get(uid)
        same = stood is not None and local_day(stood[0], zone) == local_day(start_at, zone)
        return uid in self.pinned or (self.is_repair and same)

    def is_held(self, uid: str, moment: Moment) -> bool:
        """Whether a sitting is pinned or stands today."""
        stood = self.stood.get(uid)
        return uid in self.pinned or (stood is not None and local_day(stood[0], moment.zone) == moment.on)

    def pinned_before(self, moment: Moment) -> frozenset[str]:
        """What is pinned to a day that is over."""
        return frozenset(uid for uid in self.pinned if local_day(self.stood[uid][0], moment.zone) < moment.on)

    def letting_go(self, uids: Collection[str]) -> "Room":
        """The same with some pinned sittings free to move."""
        return replace(self, pinned=self.pinned - set(uids))

    def moving(self, uids: Collection[str]) -> "Room":
        """The same with some sittings as if they had stood nowhere yet."""
        return replace(self, stood={uid: at for uid, at in self.stood.items() if uid not in uids})

    def holding(self, held: Mapping[str, tuple[datetime, str]]) -> "Room":
        """The same with some sittings at another time, to stay there."""
        return replace(self, stood={**self.stood, **held}, pinned=self.pinned | held.keys())

    def holding_before(self, held: Mapping[str, tuple[datetime, str]]) -> "Room":
        """The same with some sittings held where a plan that waits has them."""
        return replace(self.holding(held), asked_before=frozenset(held))


@dataclass(slots=True)
class Extra:
    """What the rules ask beside drying, found while planning: the rest below a layer, by that layer; and which panels
    are left out, with the reason."""

    rests: dict[str, Rest] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)


def plan_confidence(rows: StudioRows) -> float:
    """The chance, 0 to 1, at which a plan counts a layer as ready: the studio's, within what a plan may be asked."""
    return min(0.99, max(0.5, rows.studio.confidence_pct / 100))


def set_up_price(rows: StudioRows) -> float:
    """What a mix more costs a plan: as much as the days that the studio lets a panel wait to share one."""
    return float(FLOW_PRICE * rows.studio.share_wait_d)


def problem(found: list[PanelStanding], rows: StudioRows, moment: Moment, room: Room, extra: Extra) -> Problem:
    """All open panels with layers to come. What cannot be forecast goes to ``extra.left_out`` with the reason."""
    confidence = plan_confidence(rows)
    jobs = []
    for standing in found:
        uid = standing.layers.panel.uid
        if standing.standing is Standing.FINISHED or not standing.layers.to_come or uid in extra.left_out:
            continue
        if (far := _too_far(standing, moment)) is not None:
            extra.left_out[uid] = far
            continue
        job = panel_job(standing, rows, moment, (confidence, extra))
        if job is not None:
            jobs.append(job)
    ids = {s.id for job in jobs for s in job.sittings}
    return Problem(
        today=moment.on,
        zone=moment.zone,
        painters=room.painters,
        panels=tuple(jobs),
        confidence=confidence,
        rack_places=room.rack_places,
        easels=room.easels,
        set_up_min=room.set_up_min,
        set_up_price=set_up_price(rows),
        move_price=REPAIR_PRICE if room.is_repair else 60.0,
        pins_in_hours=True,
        panel_once=True,
        most_moved=MOST_MOVED if room.is_repair else None,
        previous=tuple(
            Previous(uid, at, pinned=uid in room.pinned, painter=painter)
            for uid, (at, painter) in room.stood.items()
            if uid in ids
        ),
    )


Terms = tuple[float, Extra]  # confidence, and what the rules ask beside drying


def year_of(standing: PanelStanding, moment: Moment) -> tuple[float, ...]:
    """The drying speed of each month where the panel's layers to come will dry."""
    return speeds_by_month(standing.layers.climate, moment.zone, moment.on.year)


def panel_job(standing: PanelStanding, rows: StudioRows, moment: Moment, terms: Terms) -> PanelJob | None:
    """One panel with layers to come as the planner takes it; None where none is, and, with the reason in the terms'
    ``left_out``, where a layer has no forecast."""
    if not standing.layers.to_come:
        return None
    confidence, extra = terms
    year = year_of(standing, moment)
    speed = year[moment.on.month - 1]
    panel = standing.layers.panel
    to_come = standing.layers.to_come
    stages = [_stages_of(layer, moment) for layer in to_come]
    for layer, own in zip(to_come, stages, strict=True):
        if own is None and layer.is_drying:
            extra.left_out[panel.uid] = f"“{layer.row.kind}” has no mix yet, so nobody can say when it dries"
            return None
    sittings, links = [], []
    for n, (layer, own) in enumerate(zip(to_come, stages, strict=True)):
        drying = _spread(own[Stage.DRY_TO_RECOAT], speed) if own else Spread(SHORT_D, SHORT_D)
        rack = _spread(own[Stage.DRY_TO_TOUCH], speed).at(confidence) if own else SHORT_D
        minutes = layer.row.sitting_min or SITTING_MIN
        sittings.append(Sitting(layer.row.uid, minutes, _palette(layer), (), drying, rack))
        if n:
            link = _link(to_come[n - 1], layer, stages[n - 1], speed)
            rest = extra.rests.get(layer.row.uid)
            links.append(replace(link, rest_d=rest.days) if rest and link.kind is LinkKind.DRY else link)
    last = final_wait(standing, rows, moment, stages[-1])
    there_at = max(_ready_at(standing, moment, confidence), _rested_at(standing, moment, extra))
    return PanelJob(
        id=panel.uid,
        sittings=tuple(sittings),
        links=tuple(links),
        release_on=local_day(there_at, moment.zone),
        release_at=there_at,
        due_on=panel.due_on,
        weight=panel.weight,
        final_wait=Spread(last.drying.p50_d * speed, last.drying.p90_d * speed),
        handling_d=last.calendar_d + handling_of(panel).days,
        speed=DryingSpeed(by_month=year),
    )


def _stages_of(layer: LayerToCome, moment: Moment) -> dict[Stage, StageRange] | None:
    """The forecast of a layer laid today, None where the model says nothing of it."""
    forecast = forecast_on(layer, moment.on, moment.zone)
    return dict(forecast.stages) if isinstance(forecast, LayerEstimate) else None


def _spread(stage: StageRange, speed: float) -> Spread:
    p50 = max(SHORT_D, stage.p50_d * speed)
    return Spread(p50, max(p50, stage.p90_d * speed))


def _palette(layer: LayerToCome) -> str | None:
    return palette_words(layer.book.mixes[region.mix_id].label for region in layer.regions)


def _link(below: LayerToCome, layer: LayerToCome, stages: dict[Stage, StageRange] | None, speed: float) -> Link:
    if layer.row.wet_in_wet and stages is not None:
        within = max(SHORT_D, stages[Stage.SET_TO_TOUCH].p50_d * speed)
        return Link(below.row.uid, layer.row.uid, LinkKind.WET_IN_WET, within_d=within)
    return Link(below.row.uid, layer.row.uid, LinkKind.DRY)


def _too_far(standing: PanelStanding, moment: Moment) -> str | None:
    """Why a rule stops the next layer for longer than anybody waits, in its words; None where it does not."""
    allowed = standing.allowed_from(moment)
    if standing.verdict is None or allowed is None or (allowed - moment.on).days <= LONGEST_REST_D:
        return None
    stops = [one for one in standing.verdict.findings if one.severity is Severity.STOP and one.remedy]
    return max(stops, key=lambda one: (one.remedy.not_before_d if one.remedy else None) or 0.0).reason


def _rested_at(standing: PanelStanding, moment: Moment, extra: Extra) -> datetime:
    """From when on the next layer may go on by what was found that the rules ask of what lies there."""
    rest = extra.rests.get(standing.layers.to_come[0].row.uid)
    since = lies_since(standing.layers, moment.zone)
    return moment.day_start if rest is None or since is None else instant(since, rest.days)


def _ready_at(standing: PanelStanding, moment: Moment, confidence: float) -> datetime:
    """From when on the next layer may go on, at the studio's confidence and by the rules that name a day."""
    return instant(moment.day_start, start_of(release_chain(standing, moment), confidence).planned_d)


def release_chain(standing: PanelStanding, moment: Moment) -> Chain:
    """When the next layer may go on, as draws: days from the day's beginning. Not before a day that a rule names."""
    top = standing.top
    if standing.standing is Standing.READY:
        return begin(None, 0.0, open_now=True)
    age_d = 0.0 if top is None else (moment.day_start - top.row.painted_at).total_seconds() / 86_400.0
    chain = begin(None if top is None else top.film.stages.get(Stage.DRY_TO_RECOAT), age_d, open_now=False)
    allowed = standing.allowed_from(moment)
    if allowed is not None and allowed > moment.on:
        chain = hold(chain, (start_of_day(allowed, moment.zone) - moment.day_start).total_seconds() / 86_400.0)
    return chain


def zone_minutes(now: datetime, zone: ZoneInfo) -> int:
    """Minutes of the wall clock's day, to the next quarter of an hour."""
    local = now.astimezone(zone)
    return -(-(local.hour * 60 + local.minute) // 15) * 15
