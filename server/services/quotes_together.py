"""What open quotes do to each other: each is worked out as if the others did not exist, and all of them may be taken.

They are held where they were quoted, one after another as they were given. What does not fit there beside the plan and
the others goes where it comes out soonest then. Nothing of this is kept: it is of now.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import ceil
from typing import Any, Literal
from zoneinfo import ZoneInfo

from server.planning.schedule import planner
from server.planning.schedule.check import check, of_pins
from server.planning.schedule.compiled import current
from server.planning.schedule.odds import PanelOdds
from server.planning.schedule.plan import PlacedSitting
from server.planning.schedule.problem import PanelJob
from server.services import planning_promise, quote_records
from server.services.access import Actor
from server.services.board.films import panel_layers
from server.services.board.plan_problem import Extra
from server.services.board.spans import local_day
from server.services.board.standing import standings
from server.services.errors import Invalid, Refused
from server.services.planning_asked import Asked
from server.services.planning_promise import ENDANGERED, Ground, Tried, job_of, odds_beside, settled
from server.services.quote_age import Age, ages
from server.services.search_pool import SEARCHES
from server.store.db import Database
from server.store.tables import Quote

MOST = 8  # other quotes that are counted, the first to be begun before the rest


@dataclass(frozen=True, slots=True)
class Endangered:
    """A panel's date or that of a quote, the odds of it without and with what was asked."""

    kind: Literal["panel", "quote"]
    uid: str
    title: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Together:
    """``deliver_on`` and ``start_at`` of a commission if the others that were ``counted`` (uids) are taken first, None
    where it finds no place then; ``endangered`` if all are taken so. ``breaks``: the other quotes that it endangers if
    it is taken first."""

    counted: tuple[str, ...]
    deliver_on: date | None
    start_at: datetime | None
    endangered: tuple[Endangered, ...]
    breaks: tuple[Endangered, ...]


@dataclass(frozen=True, slots=True)
class Open:
    """An open quote as it would be stored if it were taken."""

    uid: str
    title: str
    due_on: date
    odds: float
    sittings: tuple[Mapping[str, Any], ...]
    tried: Tried


@dataclass(frozen=True, slots=True)
class Question:
    asked: Asked
    own: Open
    others: tuple[Open, ...]


Broken = frozenset[tuple[str, tuple[str, ...]]]


def others_of(quote: Quote, quotes: Sequence[Quote], age: Mapping[str, Age]) -> list[Quote]:
    """The open quotes that count beside one that is open itself, as they were given. Of several for one commission
    (the same name, for the same buyer) the last; those for its own commission only ask about it in another way."""
    if not _is_open(quote, age):
        return []
    last = {_commission(other): other for other in quotes if _is_open(other, age)}
    last.pop(_commission(quote), None)
    soonest = sorted(last.values(), key=lambda one: str((one.content_json or {})["start_at"]))[:MOST]
    return sorted(soonest, key=lambda one: one.id or 0)


def _is_open(quote: Quote, age: Mapping[str, Age]) -> bool:
    return quote.panel_id is None and quote.archived_at is None and age[quote.uid] != "over"


def _commission(quote: Quote) -> tuple[str, str]:
    return quote.title.strip().casefold(), quote.for_whom.strip().casefold()


def ask(db: Database, actor: Actor, uid: str, now: datetime, zone: ZoneInfo) -> Together | None:
    """None where there is nothing to say: the quote is not open, or no other is. Nothing is changed. Raises
    ``NotFound``, and ``Refused`` where the plan itself cannot be read."""
    question = read(db, actor, uid, now, zone)
    if question is None:
        return None
    found: Together | None = SEARCHES.run(worked_out, question)
    return found


def read(db: Database, actor: Actor, uid: str, now: datetime, zone: ZoneInfo) -> Question | None:
    """All that the answer takes. Quotes that cannot be taken any more, as for a place put away, do not count."""
    with db.read() as session:
        quote = quote_records.get(session, actor, uid)
        quotes = quote_records.all_open(session, actor)
        others = others_of(quote, quotes, ages(session, actor, [*quotes, quote], now))
        if not others:
            return None
        asked = planning_promise.asked_of(session, actor, now, zone)
    every = [quote, *others]
    tried = planning_promise.try_out(
        db, actor, [(quote_records.command_of(one), quote_records.due_on(one)) for one in every]
    )
    found = {one.uid: _open(one, made) for one, made in zip(every, tried, strict=True) if isinstance(made, Tried)}
    own = found.pop(uid, None)
    return Question(asked, own, tuple(found.values())) if own is not None and found else None


def _open(quote: Quote, tried: Tried) -> Open:
    content, due_on = quote.content_json or {}, quote_records.due_on(quote)
    odds = content["odds"] if due_on.isoformat() == content["deliver_on"] else content["wanted_odds"]
    return Open(quote.uid, quote.title, due_on, odds, tuple(content["sittings"]), tried)


def worked_out(question: Question, _told: Callable[[Any], bool] | None = None) -> Together | None:
    """As `ask` answers, here and now. Reads no record, so a search process can do it."""
    ground = planning_promise.ground_of(question.asked)
    own = _quoted(ground, question.own)
    others = [one for each in question.others if (one := _quoted(ground, each)) is not None]
    return None if own is None or not others else _together(ground, own, others)


def _together(ground: Ground, own: "_Quoted", others: "Sequence[_Quoted]") -> Together:
    whole: Ground | None = _all_held(ground, [*others, own])
    breaks: tuple[Endangered, ...] = ()
    if whole is None:
        others_first, nowhere = _one_after_another(ground, others)
        whole = _hung(others_first, own)
        breaks = tuple(_broken_by(ground, own, others))
    else:
        others_first, nowhere = whole, []
    known = [*_planned_odds(ground), *((("quote", o.open.uid, o.open.title), o.id, o.open.odds) for o in others)]
    at_last = whole or others_first
    endangered = _fallen(at_last, known)
    endangered += [Endangered("quote", one.open.uid, one.open.title, one.open.odds, 0.0) for one in nowhere]
    day, begin = (None, None) if whole is None else _date_of(whole, own.id)
    counted = tuple(one.open.uid for one in others)
    return Together(counted, day, begin, tuple(sorted(endangered, key=lambda e: e.after - e.before)), breaks)


@dataclass(frozen=True, slots=True)
class _Quoted:
    """A quote with its panel as it is planned; where its sittings were quoted, None where its stack is another now."""

    open: Open
    job: PanelJob
    sittings: tuple[PlacedSitting, ...] | None

    @property
    def id(self) -> str:
        return self.job.id


def _quoted(ground: Ground, one: Open) -> _Quoted | None:
    """None where a layer of it has no forecast any more."""
    asked, tried = ground.asked, one.tried
    [standing] = standings(tried.rows, panel_layers(tried.rows, asked.moment), asked.moment)
    try:
        job = replace(job_of(standing, tried, asked, Extra()), due_on=one.due_on)
    except Invalid:
        return None
    kinds = {layer.row.uid: layer.row.kind for layer in standing.layers.to_come}
    if [kinds[s.id] for s in job.sittings] != [told["kind"] for told in one.sittings]:
        return _Quoted(one, job, None)
    placed = tuple(
        PlacedSitting(
            s.id,
            job.id,
            told["painter"],
            datetime.fromisoformat(told["start_at"]),
            datetime.fromisoformat(told["end_at"]),
            s.palette,
        )
        for s, told in zip(job.sittings, one.sittings, strict=True)
    )
    return _Quoted(one, job, placed)


def _all_held(ground: Ground, quoted: Sequence[_Quoted]) -> Ground | None:
    """All of them where they were quoted; None where something does not hold then that holds without them."""
    held = ground
    for one in quoted:
        if one.sittings is None:
            return None
        held = held.holding(one.job, one.sittings)
    near = _near(ground, [s for one in quoted for s in one.sittings or ()])
    beside = near
    for one in quoted:
        beside = beside.holding(one.job, one.sittings or ())
    return held if _broken(beside) <= _broken(near) else None


def _near(ground: Ground, sittings: Iterable[PlacedSitting]) -> Ground:
    """What may be in the way of these: the sittings of their days, with a rack those that are wet on them. What these
    wait for themselves is left out, since they stay."""
    zone, planned = ground.asked.moment.zone, ground.planned
    racks = [s.rack_d or 0.0 for panel in ground.panels for s in panel.sittings]
    reach_d = 0 if planned.rack_places is None else ceil(max(racks, default=0.0) / planned.slowest) + 1
    on = sorted({local_day(s.start_at, zone) for s in sittings})
    days = {day + timedelta(days=n) for day in on for n in range(-reach_d, reach_d + 1)}
    kept = tuple(s for s in ground.stands if local_day(s.start_at, zone) in days)
    ids = {s.id for s in kept}
    cut = (replace(p, links=(), sittings=tuple(s for s in p.sittings if s.id in ids)) for p in ground.panels)
    panels = tuple(panel for panel in cut if panel.sittings)
    return Ground(ground.asked, replace(planned, panels=panels), kept)


def _broken(ground: Ground) -> Broken:
    """What does not hold of what is held."""
    question = ground.question()
    plan = planner.answer(planner.lay_out(question, current()))
    return frozenset((fault.kind, fault.sittings) for fault in (*check(question, plan), *of_pins(question, plan)))


def _hung(ground: Ground, one: _Quoted) -> Ground | None:
    """One more commission: where it was quoted if that holds, else where it comes out soonest; None without a place."""
    as_quoted = _all_held(ground, [one])
    if as_quoted is not None:
        return as_quoted
    try:
        found = settled(ground, one.open.tried)
    except (Invalid, Refused):
        return None
    return ground.holding(replace(found.job, due_on=one.open.due_on), found.own)


def _one_after_another(ground: Ground, others: Iterable[_Quoted]) -> tuple[Ground, list[_Quoted]]:
    """The others, and those that find no place."""
    nowhere = []
    for one in others:
        held = _hung(ground, one)
        if held is None:
            nowhere.append(one)
        ground = held or ground
    return ground, nowhere


def _broken_by(ground: Ground, own: _Quoted, others: Iterable[_Quoted]) -> Iterable[Endangered]:
    """The other quotes, each by itself, whose odds fall where ``own`` is taken first."""
    taken = _hung(ground, own)
    for one in others:
        if taken is None or _all_held(taken, [one]) is not None:
            continue
        is_free = _all_held(ground, [one]) is not None
        before = one.open.odds if is_free else _odds_in(_hung(ground, one), one.id)
        after = _odds_in(_hung(taken, one), one.id)
        if before - after > ENDANGERED:
            yield Endangered("quote", one.open.uid, one.open.title, before, after)


def _odds_in(ground: Ground | None, panel_id: str) -> float:
    if ground is None:
        return 0.0
    return _odds(ground, [job for job in ground.promised if job.id == panel_id])[panel_id].odds or 0.0


def _odds(ground: Ground, panels: Iterable[PanelJob]) -> dict[str, PanelOdds]:
    return odds_beside(ground.asked, replace(ground.question(), panels=tuple(panels)), ground.stands)


Known = tuple[tuple[Literal["panel", "quote"], str, str], str, float]  # what it is called; its id, and its odds


def _planned_odds(ground: Ground) -> list[Known]:
    """The dates of the plan, with their odds beside nothing else."""
    titles = {panel.uid: panel.title for panel in ground.asked.board.panels}
    found = _odds(ground, [panel for panel in ground.planned.panels if panel.due_on])
    return [(("panel", uid, titles[uid]), uid, one.odds) for uid, one in found.items() if one.odds is not None]


def _fallen(ground: Ground, known: Sequence[Known]) -> list[Endangered]:
    ids = {panel_id for _, panel_id, _ in known}
    after = _odds(ground, [panel for panel in ground.panels if panel.id in ids])
    found = []
    for names, panel_id, before in known:
        odds = after[panel_id].odds if panel_id in after else None
        if odds is not None and before - odds > ENDANGERED:
            found.append(Endangered(*names, before, odds))
    return found


def _date_of(ground: Ground, panel_id: str) -> tuple[date, datetime]:
    [job] = [replace(job, due_on=None) for job in ground.promised if job.id == panel_id]
    begin = min(s.start_at for s in ground.stands if s.panel == panel_id)
    return _odds(ground, [job])[panel_id].high_on, begin
