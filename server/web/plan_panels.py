"""A panel of a plan as its page shows it: when it can be delivered, how likely its date is kept, what would help."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from server.formats.drawings_odds import OddsPicture, odds_picture
from server.services.board.facts import PanelFact, Standing
from server.services.board.plan_standing import PlanNow, comes_to
from server.services.plan_reading import PlanRisk
from server.store.tables import Name
from server.web import plan_words, standing_words


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
    hold any more, so that ``finish_on`` is only what the plan had, and not told as late. ``is_partial``: a layer to
    come of it has no sitting in the plan in use, which so knows no day for it. ``at_risk``: its odds are lower than the
    studio wants them.
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
    is_partial: bool = False
    at_risk: bool = False

    @property
    def wants_a_look(self) -> bool:
        return bool(self.late_d or self.at_risk or self.options or self.is_stale or self.is_broken or self.is_partial)

    @property
    def is_on_course(self) -> bool:
        """Whether nobody has to look at it now."""
        return self.finish_on is not None and not self.wants_a_look


def panel_of(one: Mapping[str, Any], today: date) -> PanelShown:
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


def as_they_stand(
    panels: Iterable[PanelShown], now: PlanNow, facts: Mapping[str, PanelFact], today: date
) -> tuple[PanelShown, ...]:
    """The panels of the plan in use by what is known of them now. Of those that are gone, or on which nothing is left
    to paint, the plan says nothing any more."""
    broken = frozenset(one.plan.panel_uid for one in now.standing if one.broken is not None)
    partial, changed = now.partial, now.changed
    found = []
    for stored in panels:
        if not now.panels.get(stored.uid):
            continue
        panel = _without_stale(_as_it_stands(stored, facts.get(stored.uid), today), stored, changed)
        if stored.uid in partial and stored.finish_on is not None:
            panel = replace(panel, finish_on=None, late_d=0, risk="", options=(), is_stale=False, is_partial=True)
        found.append(_broken(panel, stored) if stored.uid in broken else panel)
    return tuple(found)


def _as_it_stands(panel: PanelShown, fact: PanelFact | None, today: date) -> PanelShown:
    """A panel of the plan in use by what is known of it now; what would help is only told where it is late."""
    panel = panel if fact is None else replace(panel, title=Name(fact.title))
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


def is_known(fact: PanelFact | None) -> bool:
    """Whether more is known of a panel than the plan said: it has no date, or its odds by the plan as it is now."""
    return fact is not None and (fact.due is None or fact.due.plan is not None)


def as_if_taken(panel: PanelShown, fact: PanelFact | None, today: date) -> PanelShown:
    """A panel of the plan that waits by what is known of it now, ``fact`` as it would stand with that plan."""
    if fact is None or not is_known(fact):
        return panel
    return _without_stale(_as_it_stands(panel, fact, today), panel, ())


def _without_stale(panel: PanelShown, stored: PanelShown, changed: Collection[str]) -> PanelShown:
    """A panel of the plan in use without what was tried for it, where it comes to another day since or something of its
    sittings is ``changed``."""
    as_it_was = (panel.late_d, panel.finish_on) == (stored.late_d, stored.finish_on)
    if not panel.late_d or (as_it_was and panel.uid not in changed):
        return panel
    return replace(panel, options=(), is_stale=True)


def without_its_day(panel: PanelShown) -> PanelShown:
    """A panel of the plan that waits of which a sitting does not hold: what was worked out for it is not so by now."""
    return replace(_broken(panel, panel), odds=None, risk="", at_risk=False)


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
