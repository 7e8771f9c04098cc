"""A plan as its page shows it: the stored content as days, panels and changes against the plan in use.

Of the plan in use, sittings, odds and lateness are those of now, as every other page tells them; one to be looked at
has its own.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from server.formats.drawings_odds import OddsPicture, odds_picture
from server.services.board.due import falls_short
from server.services.board.facts import BrokenSitting, PanelFact, Standing
from server.services.board.plan_standing import PlanNow, comes_to
from server.services.plan_reading import PlannedSitting, PlanRisk, share_wait_of, sittings_of
from server.store.tables import StudioPlan
from server.web import plan_words, standing_words, words

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
        if is_far(self.plan.on, self.today):
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
class OptionShown:
    """What would help a late panel, as it was tried; ``key`` "" where it cannot be done by a tap."""

    text: str
    finish_on: date
    saves_d: int
    key: str


@dataclass(frozen=True, slots=True)
class PanelShown:
    """A panel of a plan: how likely it makes its date, why, and what would help it where it is late.

    ``is_stale``: what was tried for it was tried when it came to another day. ``is_broken``: a sitting of it does not
    hold any more, so that ``finish_on`` is only what the plan had, and not told as late. ``at_risk``: its odds are
    lower than the studio wants them.
    """

    title: str
    uid: str
    finish_on: date | None
    late_d: int
    odds: OddsPicture | None
    risk: str
    options: tuple[OptionShown, ...]
    is_stale: bool = False
    is_broken: bool = False
    at_risk: bool = False

    @property
    def wants_a_look(self) -> bool:
        return bool(self.late_d or self.at_risk or self.options or self.is_stale or self.is_broken)

    @property
    def is_on_course(self) -> bool:
        """Whether nobody has to look at it now."""
        return self.finish_on is not None and not self.wants_a_look


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
    made = _plan(row, found, today)
    broken = frozenset(one.plan.panel_uid for one in now.standing if one.broken is not None)
    panels = (_as_it_stands(panel, facts.get(panel.uid), today) for panel in made.panels)
    panels = (_without_stale(one, old, now.changed) for one, old in zip(panels, made.panels, strict=True))
    return replace(
        made,
        panels=tuple(
            _broken(one, old) if one.uid in broken else one for one, old in zip(panels, made.panels, strict=True)
        ),
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
    here = [one for one in sittings_of(row.content_json) if one.uid in now.to_come or one.uid in now.painted]
    sittings = [replace(_beside(one, stood, now.to_come, today), is_painted=one.uid in now.painted) for one in here]
    made = _plan(row, sittings, today)
    odds = {one["id"]: one.get("odds") for one in row.content_json.get("panels", ())}
    panels = (replace(one, at_risk=falls_short(odds[one.uid], confidence)) for one in made.panels)
    return replace(
        made,
        panels=tuple(panels),
        let_go=tuple(one for one in made.let_go if one["id"] not in now.painted),
        held=tuple(one for one in made.held if one["id"] not in now.painted),
        changes=_changes(sittings, stood, now.to_come),
    )


def _plan(row: StudioPlan, sittings: Iterable[SittingShown], today: date) -> PlanShown:
    content = told(row)
    by_day: dict[date, list[SittingShown]] = {}
    for sitting in sittings:
        by_day.setdefault(sitting.plan.on, []).append(sitting)
    return PlanShown(
        uid=row.uid,
        made_on=date.fromisoformat(content["made_on"]) if "made_on" in content else row.created_at.date(),
        days=tuple(_day(on, by_day[on], today) for on in sorted(by_day)),
        panels=tuple(_panel(p, today) for p in content.get("panels", ())),
        left_out=tuple(LeftOut(one["title"], one["uid"], one["reason"]) for one in content.get("left_out", ())),
        let_go=tuple(content.get("let_go", ())),
        held=tuple(map(_held, content.get("held", ()))),
        unplaced=tuple(content.get("unplaced", ())),
        gain_pct=content.get("gain_pct", 0.0),
        share_wait_d=share_wait_of(content),
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


def _beside(
    sitting: PlannedSitting, stood: Mapping[str, PlannedSitting], to_come: Mapping[str, date | None], today: date
) -> SittingShown:
    """A sitting with where its layer stands now: by the plan in use, or by the day that was given it by hand."""
    was = stood.get(sitting.uid)
    before = was.on if was is not None else to_come.get(sitting.uid)
    return SittingShown(sitting, today, was=was, before=before if before != sitting.on else None)


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


def _panel(one: Mapping[str, Any], today: date) -> PanelShown:
    finish = one["finish_on"]
    options = tuple(
        OptionShown(
            plan_words.option_words(o["text"], today),
            date.fromisoformat(o["finish_on"]),
            o["saves_d"],
            o.get("key", ""),
        )
        for o in one["options"]
    )
    odds = one.get("odds")
    return PanelShown(
        title=one["title"],
        uid=one["id"],
        finish_on=date.fromisoformat(finish) if finish else None,
        late_d=one["late_d"],
        odds=None if odds is None else odds_picture(odds),
        risk=_risk(one, today),
        options=options,
    )


def _as_it_stands(panel: PanelShown, fact: PanelFact | None, today: date) -> PanelShown:
    """A panel of the plan in use by what is known of it now; what would help is only told where it is late."""
    if fact is None or fact.standing is Standing.FINISHED:
        return replace(panel, odds=None, risk="", late_d=0, options=())
    due, found = fact.due, comes_to(fact, panel.finish_on)
    if due is None or found is None:
        return replace(panel, odds=None, late_d=0, options=())
    finish, late_d = found
    return replace(
        panel,
        finish_on=finish,
        late_d=late_d,
        odds=None if due.odds is None or due.is_late else odds_picture(due.odds),
        risk=_risk_now(fact, today),
        options=panel.options if late_d else (),
        at_risk=due.at_risk,
    )


def _without_stale(panel: PanelShown, stored: PanelShown, changed: Collection[str]) -> PanelShown:
    """A panel of the plan in use without what was tried for it, where it comes to another day since or something of its
    sittings is ``changed``."""
    as_it_was = (panel.late_d, panel.finish_on) == (stored.late_d, stored.finish_on)
    if not panel.late_d or (as_it_was and panel.uid not in changed):
        return panel
    return replace(panel, options=(), is_stale=True)


def _broken(panel: PanelShown, stored: PanelShown) -> PanelShown:
    """A panel of the plan in use of which a sitting does not hold: the plan's own day is only what it was."""
    return replace(panel, finish_on=stored.finish_on, late_d=0, options=(), is_stale=False, is_broken=True)


def _risk_now(fact: PanelFact, today: date) -> str:
    if fact.due is None or fact.due.is_late or fact.due.plan is None:
        return standing_words.due_odds_words(fact, today) if fact.due is not None and fact.due.is_late else ""
    return standing_words.plan_risk_words(fact.due.plan, today)


def _risk(one: Mapping[str, Any], today: date) -> str:
    told = one.get("risk")
    if told is None:
        return ""
    low, central, high = (date.fromisoformat(told[name]) for name in ("low_on", "central_on", "high_on"))
    return standing_words.plan_risk_words(PlanRisk(low, central, high, told["wait"], told["weakest"]), today)
