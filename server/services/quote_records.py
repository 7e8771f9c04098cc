"""Dates that were worked out for commissions, as records: kept, taken as a panel, put away."""

from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from server.services import panels, records, stack_plans
from server.services.access import Actor, allow
from server.services.planning_promise import PromiseAsk
from server.services.stack import zone_of
from server.services.stack_plans import StackApply
from server.services.unit import moment
from server.store.tables import Layer, Panel, Quote


def keep(session: Session, actor: Actor, command: PromiseAsk, content: dict[str, Any]) -> Quote:
    """Keep the answer as a quote."""
    allow(actor, "create", None, Quote)
    quote = Quote(studio_id=actor.studio_id, title=command.title, for_whom=command.for_whom, content_json=content)
    session.add(quote)
    session.flush()
    return quote


def take(session: Session, actor: Actor, uid: str) -> tuple[Quote, Panel]:
    """The quote as a panel with its planned layers, due on the day promised, or on the one wished for where that is
    later; days that are over by then are planned for no layer. Taken again it stays the same panel.

    Raises ``NotFound``, ``Invalid`` for a stack or a place that is no longer there, ``Refused`` for one put away.
    """
    quote = records.find(session, actor, Quote, uid, "update")
    if quote.panel_id is not None:
        return quote, session.get_one(Panel, quote.panel_id)
    records.refuse_archived(quote, "this quote")
    content, command = quote.content_json or {}, command_of(quote)
    panel = panels.create(session, actor, command.panel(due_on(quote)))
    _, made = stack_plans.apply(session, actor, command.stack_uid, StackApply(panel_uid=panel.uid))
    _plan_days(made, content, moment(session).astimezone(zone_of(session, actor.studio_id)).date())
    quote.panel_id = panel.id
    session.flush()
    return quote, panel


def command_of(quote: Quote) -> PromiseAsk:
    """What was asked."""
    return PromiseAsk.model_validate((quote.content_json or {})["asked"])


def due_on(quote: Quote) -> date:
    """The day promised. What was wished for is no promise; where it is later than what can be done, it will do."""
    promised, wanted_on = date.fromisoformat((quote.content_json or {})["deliver_on"]), command_of(quote).wanted_on
    return promised if wanted_on is None else max(promised, wanted_on)


def _plan_days(made: list[Layer], content: dict[str, Any], today: date) -> None:
    for layer, sitting in zip(made, content["sittings"], strict=False):
        on = datetime.fromisoformat(sitting["start_at"]).date()
        if on < today:
            return  # and what goes over it is not as it was worked out either
        records.change(layer, {"planned_on": on})


def archive(session: Session, actor: Actor, uid: str) -> Quote:
    return records.archive(session, actor, Quote, uid)


def get(session: Session, actor: Actor, uid: str) -> Quote:
    return records.find(session, actor, Quote, uid)


def all_open(session: Session, actor: Actor) -> list[Quote]:
    return records.find_all(session, actor, Quote)


def panel_of(session: Session, quote: Quote) -> Panel | None:
    """The panel that a quote became."""
    return None if quote.panel_id is None else session.get(Panel, quote.panel_id)
