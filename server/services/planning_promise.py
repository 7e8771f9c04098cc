"""When could a commission be delivered? Answered beside the plan in use, which stays as it is; kept as a quote.

The panel to come is made as it would be, in a unit of work that is rolled back: what is asked about is what would be
stored. Everything that is planned stays where it is; the new sittings go where they come out soonest; the date is the
one that nine draws in ten keep, with drying drawn as for the plan's own odds.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from pydantic import Field
from sqlmodel import Session

from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.compiled import current
from server.planning.schedule.odds import PanelOdds, odds_of
from server.planning.schedule.plan import PlacedSitting, Plan
from server.planning.schedule.problem import PanelJob, Previous, Problem
from server.planning.schedule.solve import Budget
from server.services import panels, planning_make, records, stack_plans
from server.services.access import Actor, allow
from server.services.board.films import panel_layers
from server.services.board.plan_finish import final_wait
from server.services.board.plan_odds import placed
from server.services.board.plan_problem import Extra, panel_job, plan_confidence, problem, release_chain
from server.services.board.rows import StudioRows, load
from server.services.board.standing import PanelStanding, standings
from server.services.board.today import standing_sittings
from server.services.errors import Invalid, Refused
from server.services.fields import Centimetres, Command, Day, OptionalText200, Text200, Uid
from server.services.panels import PanelCreate, Support
from server.services.plan_reading import Rest
from server.services.planning_asked import Asked, Effort, PlanMake
from server.services.planning_rules import answers, first_stop, sparing
from server.services.planning_sound import sound, wait_or_leave
from server.services.planning_ways import changed
from server.services.search_pool import SEARCHES
from server.services.stack_plans import StackApply
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import GroundKind, GroundSurface, PanelFinish, Quote, StackPlan

SURE = 0.9
ENDANGERED = 0.02  # a promise whose odds fall by more than this is named
URGENT = 10.0  # the weight the commission is placed with: as soon as it can be
TRIES = 5
FINAL_VARNISH = "final_varnish"
OVER = "This day is over. Give today or a later day."


class PromiseAsk(Command):
    """A commission: its size, the stack it is painted with, what is done to it before it leaves."""

    title: Text200
    for_whom: OptionalText200 = ""
    width_cm: Centimetres
    height_cm: Centimetres
    stack_uid: Uid
    place_uid: Uid
    support: Support = "hardboard"
    ground_kind: GroundKind = "acrylic"
    ground_surface: GroundSurface = "matte"
    finish: PanelFinish = ""
    packing_d: Annotated[int, Field(ge=0, le=60)] = 1
    transit_d: Annotated[int, Field(ge=0, le=120)] = 0
    wanted_on: Day | None = None

    def panel(self, due_on: date) -> PanelCreate:
        """The panel it would become. It has a date, so packing and the days on the way lie before it."""
        told = self.model_dump(exclude={"for_whom", "stack_uid", "wanted_on"})
        return PanelCreate.model_validate(told | {"due_for": self.for_whom, "due_on": due_on})


Fault = Invalid | Refused


class _NotKept(Exception):
    """Leaves a unit of work so that nothing of it stays."""


@dataclass(frozen=True, slots=True)
class Tried:
    """The commission's panel with its layers, as they would be stored."""

    rows: StudioRows
    uid: str
    stack: str


@dataclass(frozen=True, slots=True)
class Question:
    """A commission, with the studio as it is read for it."""

    asked: Asked
    tried: Tried
    command: PromiseAsk


def ask(db: Database, actor: Actor, command: PromiseAsk, now: datetime, zone: ZoneInfo) -> dict[str, Any]:
    """The answer as a quote keeps it. Nothing is changed. Raises ``Invalid`` at a field, and ``Refused``."""
    found: dict[str, Any] = SEARCHES.run(answer, read(db, actor, command, now, zone))
    return found


def read(db: Database, actor: Actor, command: PromiseAsk, now: datetime, zone: ZoneInfo) -> Question:
    """All that the answer takes. Raises ``Invalid`` at a field, and ``Refused``."""
    today = now.astimezone(zone).date()
    if command.wanted_on is not None and command.wanted_on < today:
        raise Invalid.at("wanted_on", OVER)
    [tried] = try_out(db, actor, [(command, command.wanted_on or today)])
    if isinstance(tried, Fault):
        raise tried
    with db.read() as session:
        allow(actor, "create", None, Quote)
        return Question(asked_of(session, actor, now, zone), tried, command)


def asked_of(session: Session, actor: Actor, now: datetime, zone: ZoneInfo) -> Asked:
    """The studio as a commission is placed in it. Raises ``Refused`` without working hours and without a place."""
    asked = planning_make.read(session, actor, PlanMake(), now, zone)
    return replace(asked, room=replace(asked.room, **_limits(asked.board)))


def _limits(board: StudioRows) -> dict[str, Any]:
    """Easels, rack and mixing as the plan in use was made with."""
    settings = board.plan.settings if board.plan is not None else {}
    made = PlanMake.model_validate(dict(settings))
    return {"easels": made.easels, "rack_places": made.rack_places, "set_up_min": made.mix_setup_min}


def try_out(db: Database, actor: Actor, commands: Sequence[tuple[PromiseAsk, date]]) -> list[Tried | Fault]:
    """Commissions, each due on a day, as they would be stored; in place of one that cannot be, why not."""
    found: list[Tried | Fault] = []
    with suppress(_NotKept), unit(db, actor, label="Asked about a commission") as work:
        for command, due_on in commands:
            try:
                found.append(_hung(work.session, actor, command, due_on))
            except (Invalid, Refused) as fault:
                found.append(fault)
        raise _NotKept
    return found


def _hung(session: Session, actor: Actor, command: PromiseAsk, due_on: date) -> Tried:
    stack = records.find_named(session, actor, StackPlan, command.stack_uid, "stack_uid")
    panel = panels.create(session, actor, command.panel(due_on))
    stack_plans.apply(session, actor, stack.uid, StackApply(panel_uid=panel.uid))
    rows = load(session, actor, panel.uid)
    assert rows is not None
    return Tried(rows, panel.uid, stack.label)


@dataclass(frozen=True, slots=True)
class Ground:
    """What a commission is placed beside: the panels that are planned whole, other commissions, and where all of their
    sittings stand."""

    asked: Asked
    planned: Problem
    stands: tuple[PlacedSitting, ...]
    promised: tuple[PanelJob, ...] = ()

    @property
    def panels(self) -> tuple[PanelJob, ...]:
        return (*self.planned.panels, *self.promised)

    def holding(self, job: PanelJob, sittings: Iterable[PlacedSitting]) -> "Ground":
        """The same with one more commission."""
        return replace(self, promised=(*self.promised, job), stands=(*self.stands, *sittings))

    def question(self, slipping: Collection[str] = (), job: PanelJob | None = None) -> Problem:
        """All of it held, but for what slips; with the commission to come as soon as it can."""
        there = {s.id for p in self.panels for s in p.sittings}
        new = () if job is None else (replace(job, due_on=self.asked.moment.on, weight=URGENT),)
        held = (
            Previous(s.id, s.start_at, pinned=s.id not in slipping, painter=s.painter)
            for s in self.stands
            if s.id in there
        )
        return replace(self.planned, panels=(*self.panels, *new), previous=tuple(held), most_moved=None)


@dataclass(frozen=True, slots=True)
class Settled:
    """A commission where it comes out soonest beside everything else."""

    question: Problem
    plan: Plan
    job: PanelJob
    standing: PanelStanding

    @property
    def own(self) -> list[PlacedSitting]:
        ids = {s.id for s in self.job.sittings}
        return [s for s in self.plan.sittings if s.id in ids]


def answer(question: Question, _told: Callable[[Any], bool] | None = None) -> dict[str, Any]:
    """As `ask` answers, here and now. Reads no record, so a search process can do it."""
    found = settled(ground_of(question.asked), question.tried)
    return _content(question.asked, found, question.tried, question.command)


def ground_of(asked: Asked) -> Ground:
    """The plan that stands. Where nothing is planned yet, a plan of everything, made in passing."""
    stands = [placed(sitting) for sitting in standing_sittings(asked.board)]
    if not stands and any(one.layers.to_come for one in asked.found):
        stands = list(sound(asked, Effort(seconds=planning_make.QUICK_S)).plan.sittings)
    planned = {s.id for s in stands}
    base = problem(asked.found, asked.board, asked.moment, asked.room, Extra())
    there = tuple(p for p in base.panels if all(s.id in planned for s in p.sittings))
    return Ground(asked, replace(base, panels=there), tuple(stands))


def settled(ground: Ground, tried: Tried) -> Settled:
    """A commission placed as soon as drying, hours and rules let it. Raises ``Invalid`` and ``Refused``."""
    asked = ground.asked
    [standing] = standings(tried.rows, panel_layers(tried.rows, asked.moment), asked.moment)
    extra = Extra()
    for left in reversed(range(TRIES)):
        job = job_of(standing, tried, asked, extra)
        beside, plan = _beside(ground, job)
        starts = {s.id: s.start_at for s in plan.sittings}
        stopped = first_stop(standing, tried.rows, asked.moment, starts)
        if stopped is not None:
            wait_or_leave(standing, stopped, extra)
            if tried.uid in extra.left_out:
                raise Invalid.at("stack_uid", f"A rule stops this stack: {extra.left_out[tried.uid]}")
            continue
        waits = _sparing(standing, tried, asked, starts)
        if waits.keys() <= extra.rests.keys() or not left:
            return Settled(beside, plan, job, standing)
        # What is promised is painted without a caution where waiting spares it.
        extra.rests |= waits
    raise Refused("No days were found that the rules of soundness let pass.")


def job_of(standing: PanelStanding, tried: Tried, asked: Asked, extra: Extra) -> PanelJob:
    """A commission as the planner takes it. Raises ``Invalid`` where a layer has no forecast."""
    job = panel_job(standing, tried.rows, asked.moment, (plan_confidence(tried.rows), extra))
    if job is None:
        raise Invalid.at("stack_uid", f"{extra.left_out[tried.uid]}. Give the stack its mixes first.")
    return job


def _sparing(standing: PanelStanding, tried: Tried, asked: Asked, starts: Mapping[str, datetime]) -> dict[str, Rest]:
    found = answers(standing, tried.rows, asked.moment, starts)
    waits = {answer.layer.row.uid: sparing(answer, asked.moment) for answer in found}
    return {uid: rest for uid, rest in waits.items() if rest is not None}


def _beside(ground: Ground, job: PanelJob) -> tuple[Problem, Plan]:
    """The plan that stands, every sitting of it held, with the commission where it comes out soonest.

    What the plan put on a day that no longer holds (a layer dries slower than it did then, a painter is away) slips in
    the answer as it will in the studio, and with it what comes after it on its panel.
    """
    after = {s.id: p.sittings[number:] for p in ground.panels for number, s in enumerate(p.sittings)}
    slipping: set[str] = set()
    while True:
        question = ground.question(slipping, job)
        plan = laid_out(question)
        faults = check(question, plan)
        let_go = {fault.sittings[0] for fault in faults if fault.kind == "pinned"} - slipping
        if not let_go:
            break
        slipping |= {s.id for one in let_go for s in after[one]}
    if faults:
        raise Refused(f"The days that came out do not hold: {faults[0].text}.")
    lost = [one for one in plan.unplaced if one.sitting in {s.id for s in job.sittings}]
    if lost:
        raise Refused(f"The commission finds no place beside what is planned: {lost[0].reason}.")
    return question, plan


def laid_out(question: Problem) -> Plan:
    bench = planner.lay_out(question, current())
    for _ in planner.search_on(bench, Budget(moves=200)):
        pass
    bench.desk.restore(bench.desk.c.best_at)
    return planner.answer(bench)


def _content(asked: Asked, found: Settled, tried: Tried, command: PromiseAsk) -> dict[str, Any]:
    question, plan, job, mine = found.question, found.plan, found.job, found.own
    late = odds_beside(asked, replace(question, panels=(replace(job, due_on=None),)), plan.sittings)[job.id]
    deliver_on = late.high_on
    wanted = {"deliver": deliver_on} | ({"wanted": command.wanted_on} if command.wanted_on else {})
    odds = {
        name: odds_beside(asked, replace(question, panels=(replace(job, due_on=on),)), plan.sittings)[job.id].odds
        for name, on in wanted.items()
    }
    kinds = {layer.row.uid: layer.row.kind for layer in found.standing.layers.to_come}
    return {
        "made_on": asked.moment.on.isoformat(),
        "asked": command.model_dump(mode="json"),
        "stack": tried.stack,
        "deliver_on": deliver_on.isoformat(),
        "central_on": late.central_on.isoformat(),
        "odds": odds["deliver"],
        "wanted_odds": odds.get("wanted"),
        "start_at": min(s.start_at for s in mine).isoformat(),
        "sittings": [
            {
                "kind": kinds[s.id],
                "start_at": s.start_at.isoformat(),
                "end_at": s.end_at.isoformat(),
                "painter": s.painter,
            }
            for s in mine
        ],
        "endangered": _endangered(asked, question, plan, {s.id for s in mine}),
        "slipping": _slipping(asked, question),
        "varnish": _varnish(asked, (found.standing, tried.rows), max(s.start_at for s in mine)),
    }


def odds_beside(asked: Asked, question: Problem, sittings: tuple[PlacedSitting, ...]) -> dict[str, PanelOdds]:
    standing = {one.layers.panel.uid: one for one in asked.found}
    released = {p.id: release_chain(standing[p.id], asked.moment).at_d for p in question.panels if p.id in standing}
    return odds_of(question, sittings, released, with_weakest=False)


def _endangered(asked: Asked, question: Problem, plan: Plan, own: set[str]) -> list[dict[str, Any]]:
    """The promises whose odds fall: what slips finds less room beside the commission."""
    dated = replace(question, panels=tuple(p for p in question.panels if p.due_on and p.sittings[0].id not in own))
    before = odds_beside(asked, dated, tuple(s for s in plan.sittings if s.id not in own))
    after = odds_beside(asked, dated, plan.sittings)
    titles = {panel.uid: panel.title for panel in asked.board.panels}
    found = []
    for uid, odds in before.items():
        was, now = odds.odds, after[uid].odds
        if was is not None and now is not None and was - now > ENDANGERED:
            found.append({"uid": uid, "title": titles[uid], "before": was, "after": now})
    return sorted(found, key=lambda one: one["after"] - one["before"])


def _slipping(asked: Asked, question: Problem) -> list[dict[str, str]]:
    """The panels whose days in the plan in use do not hold any more."""
    slips = {one.sitting for one in question.previous if not one.pinned}
    uids = [panel.id for panel in question.panels if any(s.id in slips for s in panel.sittings)]
    titles = {panel.uid: panel.title for panel in asked.board.panels}
    return [{"uid": uid, "title": titles[uid]} for uid in uids]


def _varnish(asked: Asked, made: tuple[PanelStanding, StudioRows], last_at: datetime) -> dict[str, str] | None:
    """From when the buyer may have it tested for its final varnish; None where it leaves varnished."""
    standing, rows = made
    if standing.layers.panel.finish == FINAL_VARNISH:
        return None
    panel = changed(standing.layers.panel, finish=FINAL_VARNISH)
    wanting = replace(standing, layers=replace(standing.layers, panel=panel))
    wait = final_wait(wanting, rows, asked.moment, None)
    first, last = (wait.calendar_d + days for days in (wait.drying.p50_d, wait.drying.p90_d))
    if last <= 0.0:
        return None
    return {"from": _after(last_at, first), "to": _after(last_at, last)}


def _after(at: datetime, days: float) -> str:
    return (at.date() + timedelta(days=round(days))).isoformat()
