"""Whether a quote still says what would be said now: nothing of it is worked out anew, only what came since is seen."""

from collections.abc import Sequence
from datetime import datetime
from typing import Literal

from sqlmodel import Session, col, func, select

from server.services.access import Actor
from server.store.tables import (
    Change,
    ChangeSet,
    FinishStep,
    Layer,
    LearningChoice,
    Medium,
    Mix,
    Paint,
    Panel,
    PanelMove,
    Place,
    Quote,
    RuleLimit,
    StackPlan,
    Studio,
    Thinner,
    TouchTest,
    WorkTime,
)

# "over": the moment to begin has passed; "changed": something that dates are worked out from was changed since.
Age = Literal["stands", "changed", "over"]
# Of what stands below these records a row is changed with them, and with a plan that is taken the days of layers.
FACTS = (
    *(Panel, PanelMove, Layer, TouchTest, FinishStep, WorkTime, Place, Studio, LearningChoice, RuleLimit),
    *(StackPlan, Mix, Paint, Medium, Thinner),
)


def ages(session: Session, actor: Actor, quotes: Sequence[Quote], now: datetime) -> dict[str, Age]:
    """What became of each quote, by its uid, with two queries. One that was taken has its panel, and stands."""
    last = _last_fact(session, actor)
    rows = [quote.id for quote in quotes]
    kept = dict(
        session.exec(
            select(col(Change.row_id), func.min(col(Change.change_set_id)))
            .where(col(Change.table_name) == str(Quote.__tablename__), col(Change.row_id).in_(rows))
            .group_by(col(Change.row_id))
        ).all()
    )
    return {quote.uid: _age(quote, last > kept.get(quote.id or 0, last), now) for quote in quotes}


def _last_fact(session: Session, actor: Actor) -> int:
    names = [str(table.__tablename__) for table in FACTS]
    query = (
        select(func.max(col(ChangeSet.id)))
        .join(Change, col(Change.change_set_id) == col(ChangeSet.id))
        .where(col(ChangeSet.studio_id) == actor.studio_id, col(Change.table_name).in_(names))
    )
    return session.scalars(query).one() or 0


def _age(quote: Quote, is_changed: bool, now: datetime) -> Age:
    if quote.panel_id is not None:
        return "stands"
    if datetime.fromisoformat((quote.content_json or {})["start_at"]) < now:
        return "over"
    return "changed" if is_changed else "stands"
