"""A plan as its page shows it: the stored content as days, panels and changes against the plan in use.

Of the plan in use, sittings, odds and lateness are those of now, as every other page tells them; one to be looked at
has its own.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from server.services.board.due import falls_short
from server.services.board.facts import PanelFact
from server.services.board.plan_standing import PlanNow
from server.services.plan_reading import (
    FOLLOWS,
    BrokenSitting,
    Called,
    PlannedSitting,
    as_called,
    content_as_called,
    share_wait_of,
    sittings_of,
)
from server.store.tables import StudioPlan
from server.web import plan_words, words
from server.web.plan_panels import PanelShown, as_they_stand, panel_of

A_YEAR_D = 365  # from here on a clock time is none that anybody could keep free


@dataclass(frozen=True, slots=True)
class SittingShown:
    """A sitting of a plan, worded when it is shown, ``today``: a page shows few of many.

    ``before``: the day it has now, where that is another one; ``was``: as it stands in the plan in use. ``broken``: why
    it holds no more. ``is_painted``: since the plan was made.
    """

    plan: PlannedSitting
    today: date
    before: date | None = None
    was: PlannedSitting | None = None
    is_painted: bool = False
    broken: BrokenSitting | None = None

    @property
    def hours(self) -> str:
        """ "" where it is so far off that nobody knows them."""
        return "" if is_far(self.plan.on, self.today) else plan_words.hours_words(self.plan)

    @property
    def palette(self) -> str:
        return plan_words.palette_words(self.plan)

    @property
    def why(self) -> str:
        if self.plan.why and is_far(self.plan.on, self.today):
            return f"{plan_words.reason_words(self.plan.why, self.today)}."
        return plan_words.why_words(self.plan, self.today)


@dataclass(frozen=True, slots=True)
class DayShown:
    """``is_over``: before today. ``may_be_free``: it is to come, and near enough to be kept free by name."""

    on: date
    sittings: tuple[SittingShown, ...]
    is_over: bool
    may_be_free: bool

    @property
    def is_missed(self) -> bool:
        return any(one.broken is not None and one.broken.why == "missed" for one in self.sittings)


@dataclass(frozen=True, slots=True)
class MonthShown:
    """Days of a plan in one month, ``first`` its first day; ``is_rest``: other days of it are shown by themselves."""

    first: date
    days: tuple[DayShown, ...]
    is_rest: bool
    is_over: bool
    is_open: bool = False

    @property
    def key(self) -> str:
        """As its address names it: 2027-01."""
        return f"{self.first:%Y-%m}"

    @property
    def name(self) -> str:
        return words.month_words(self.first)

    @property
    def count(self) -> int:
        """How many are to come, or were not painted."""
        return sum(not one.is_painted for day in self.days for one in day.sittings)

    @property
    def broken(self) -> tuple[BrokenSitting, ...]:
        """One for every way in which a sitting holds no more."""
        every = (one.broken for day in self.days for one in day.sittings)
        return tuple({one.why: one for one in every if one is not None}.values())


@dataclass(frozen=True, slots=True)
class ByHand:
    """A sitting of the plan in use whose day was changed on its layer's page; None: it has no day any more."""

    plan: PlannedSitting
    now_on: date | None


@dataclass(frozen=True, slots=True)
class Changes:
    """What a plan changes of the one in use: sittings on another ``moved`` day, at another time of their day or in
    other hands, without a day before, and without one in it."""

    moved: tuple[SittingShown, ...] = ()
    retimed: tuple[SittingShown, ...] = ()
    new: tuple[SittingShown, ...] = ()
    gone: tuple[PlannedSitting, ...] = ()

    @property
    def count(self) -> int:
        return sum(map(len, (self.moved, self.retimed, self.new, self.gone)))


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A panel that a plan leaves out, and why; where it has a date now, that ``due`` and its ``risk`` in words."""

    title: str
    uid: str
    reason: str
    due: str = ""
    risk: str = ""
    at_risk: bool = False


@dataclass(frozen=True, slots=True)
class PlanShown:
    """``changes``: against the plan in use. Of that plan itself ``by_hand``, and how many sittings are ``to_come``.

    What of a large plan is shown when it is asked for (``plan_parts.folded``): the days of ``months``, the panels
    ``on_course`` and, where very many are not, those that are the least late of them (``more_open``: at once); so many
    ``more_changes``.
    """

    uid: str
    made_on: date
    days: tuple[DayShown, ...]
    panels: tuple[PanelShown, ...]
    left_out: tuple[LeftOut, ...]
    let_go: tuple[Mapping[str, str], ...]  # sittings whose pin cannot hold any more
    held: tuple[Mapping[str, Any], ...]  # sittings whose pin stays though something is against their day
    unplaced: tuple[Mapping[str, str], ...]
    gain_pct: float  # against the plan it was found beside, in the background; else 0
    share_wait_d: float  # so long a panel could wait in it to share a mix
    follows: bool = False  # its reasons, its odds and what would help are not told yet
    made_at: datetime | None = None
    changes: Changes = Changes()
    by_hand: tuple[ByHand, ...] = ()
    to_come: int = 0
    in_use: bool = False
    is_folded: bool = False
    months: tuple[MonthShown, ...] = ()
    less_late: tuple[PanelShown, ...] = ()
    on_course: tuple[PanelShown, ...] = ()
    more_open: bool = False
    more_changes: int = 0

    @property
    def address(self) -> str:
        """Of its parts, each with its own name added."""
        return "/plan" if self.in_use else f"/plan/{self.uid}"


def told(row: StudioPlan | None) -> dict[str, Any]:
    """What is stored of a plan."""
    return (row.content_json or {}) if row is not None else {}


def shown_in_use(row: StudioPlan | None, now: PlanNow, facts: Mapping[str, PanelFact], today: date) -> PlanShown | None:
    """The plan in use as it stands now, with its panels by their uids. Of what is painted only today's is shown: not
    that of days before, nor what was painted ahead of its day."""
    if row is None or not row.content_json:
        return None
    found = [
        SittingShown(one.plan, today, is_painted=one.fate == "painted", broken=one.broken)
        for one in now.sittings
        if one.fate == "stands" or (one.fate == "painted" and one.plan.on == today)
    ]
    made = _plan(row, found, today, now.called)
    return replace(
        made,
        panels=as_they_stand(made.panels, now, facts, today),
        let_go=(),
        held=(),
        by_hand=tuple(ByHand(s.plan, now.to_come.get(s.plan.uid)) for s in now.sittings if s.fate == "moved"),
        to_come=len(now.standing),
        in_use=True,
    )


def shown(row: StudioPlan | None, now: PlanNow, today: date, confidence: float = 0.0) -> PlanShown | None:
    """A plan beside the one in use, with what it changes, and what was painted since marked as that; what is gone is
    left out. ``confidence``: how sure the studio wants to be of a date."""
    if row is None or not row.content_json:
        return None
    stood = {one.plan.uid: one.plan for one in now.standing}
    every = (as_called(one, now.called) for one in sittings_of(row.content_json))
    here = [one for one in every if one.uid in now.to_come or one.uid in now.painted]
    sittings = [_beside(one, stood, now, today) for one in here]
    made = _plan(row, sittings, today, now.called)
    odds = {one["id"]: one.get("odds") for one in row.content_json.get("panels", ())}
    panels = (replace(one, at_risk=falls_short(odds[one.uid], confidence)) for one in made.panels)
    return replace(
        made,
        panels=tuple(panels),
        let_go=tuple(one for one in made.let_go if one["id"] not in now.painted),
        held=tuple(one for one in made.held if one["id"] not in now.painted),
        changes=_changes(sittings, stood, now.to_come),
    )


def _plan(row: StudioPlan, sittings: Iterable[SittingShown], today: date, names: Mapping[str, Called]) -> PlanShown:
    content = content_as_called(told(row), names)
    by_day: dict[date, list[SittingShown]] = {}
    for sitting in sittings:
        by_day.setdefault(sitting.plan.on, []).append(sitting)
    return PlanShown(
        uid=row.uid,
        made_on=date.fromisoformat(content["made_on"]) if "made_on" in content else row.created_at.date(),
        days=tuple(_day(on, by_day[on], today) for on in sorted(by_day)),
        panels=tuple(panel_of(p, today) for p in content.get("panels", ())),
        left_out=tuple(LeftOut(one["title"], one["uid"], one["reason"]) for one in content.get("left_out", ())),
        let_go=tuple(content.get("let_go", ())),
        held=tuple(map(_held, content.get("held", ()))),
        unplaced=tuple(content.get("unplaced", ())),
        gain_pct=content.get("gain_pct", 0.0),
        share_wait_d=share_wait_of(content),
        follows=bool(content.get(FOLLOWS)),
        made_at=row.created_at,
    )


def _held(one: Mapping[str, Any]) -> Mapping[str, Any]:
    return {**one, "ready_on": date.fromisoformat(one["ready_on"]) if one["ready_on"] else None}


def _day(on: date, sittings: Iterable[SittingShown], today: date) -> DayShown:
    found = tuple(sittings)
    is_over = on < today
    may_be_free = not is_over and not is_far(on, today) and not all(one.is_painted for one in found)
    return DayShown(on, found, is_over, may_be_free)


def is_far(on: date, today: date) -> bool:
    """Whether a sitting of that day is told without its hours."""
    return (on - today).days > A_YEAR_D


def _beside(sitting: PlannedSitting, stood: Mapping[str, PlannedSitting], now: PlanNow, today: date) -> SittingShown:
    """A sitting with where its layer stands now: by the plan in use, or by the day that was given it by hand."""
    was = stood.get(sitting.uid)
    before = was.on if was is not None else now.to_come.get(sitting.uid)
    other = before if before != sitting.on else None
    return SittingShown(sitting, today, was=was, before=other, is_painted=sitting.uid in now.painted)


def _changes(
    sittings: Iterable[SittingShown], stood: Mapping[str, PlannedSitting], to_come: Mapping[str, date | None]
) -> Changes:
    """Of the layers that are still to come."""
    here = [one for one in sittings if one.plan.uid in to_come]
    names = {one.plan.uid for one in here}
    return Changes(
        moved=tuple(one for one in here if one.before is not None),
        retimed=tuple(one for one in here if one.before is None and one.was is not None and _differ(one.was, one.plan)),
        new=tuple(one for one in here if one.before is None and one.was is None),
        gone=tuple(one for uid, one in stood.items() if uid not in names),
    )


def _differ(one: PlannedSitting, other: PlannedSitting) -> bool:
    return (one.start_at, one.end_at, one.painter) != (other.start_at, other.end_at, other.painter)
