"""Dates promised for commissions: worked out beside the plan in use, kept as quotes, and made panels."""

from datetime import date
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session

from server.formats.plan_json import (
    EndangeredOut,
    QuoteAskedOut,
    QuoteEndangeredOut,
    QuoteOthersOut,
    QuoteOut,
    QuoteSittingOut,
    QuotesOut,
    QuoteTakenOut,
    SlippingOut,
    VarnishDaysOut,
)
from server.services import planning_promise, quote_records, quotes_together, records
from server.services.planning_promise import PromiseAsk
from server.services.quote_age import Age, ages
from server.services.quotes_together import Endangered
from server.services.records import Slice
from server.services.sendings import sent_before
from server.store.tables import Quote
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.record_schemas import problems
from server.web.api.records import After, Archived, Limit, Uid
from server.web.api.sent import Sending, VersionSeen
from server.web.deps import Page, PageRequest

router = APIRouter(tags=["quotes"])
BODIES = (PromiseAsk,)


@router.get("/quotes", summary="Dates that were worked out for commissions", responses=problems(422))
def quotes(page: Page, limit: Limit = 50, after: After = None, archived: Archived = False) -> QuotesOut:
    """A slice, oldest first."""
    with page.db.read() as session:
        found, more = records.find_slice(session, page.actor, Quote, Slice(limit, after, archived))
        age = ages(session, page.actor, found, page.now)
        items = tuple(_quote(session, row, age[row.uid]) for row in found)
    return QuotesOut(items=items, next_after=items[-1].uid if more else None)


@router.get("/quotes/{uid}", summary="A quote", responses=problems(404, 422))
def quote(page: Page, uid: Uid) -> QuoteOut:
    """The date as it was told then, with its odds and what it endangers."""
    return _read(page, uid)


@router.post(
    "/quotes", response_model=QuoteOut, **changing("Work out a date for a commission", "PromiseAsk", status=201)
)
def ask_quote(page: Page, given: Sending) -> Any:
    """Beside the plan in use, which stays as it is."""
    command = given.command(PromiseAsk)
    with page.db.read() as session:
        is_repeated = sent_before(session, page.actor, given.key)
    content: dict[str, Any] = {}
    if not is_repeated:
        content = planning_promise.ask(page.db, page.actor, command, page.now, page.zone)

    def act(session: Session) -> tuple[Quote, str, str]:
        made = quote_records.keep(session, page.actor, command, content)
        return made, f"Worked out a date for “{made.title}”", f"/plan/promise/{made.uid}"

    return _read(page, doing.add_once(page, given, Quote, act))


@router.post(
    "/quotes/{uid}/take", response_model=QuoteTakenOut, **changing("Take a commission: hang it as a panel", held=True)
)
def take_quote(page: Page, uid: Uid, given: Sending, seen: VersionSeen) -> Any:
    """With its planned layers, due on the day that was named. Taken again it stays the same panel."""
    doing.check_empty(given)

    def act(session: Session) -> Told:
        doing.hold(session, page.actor, (Quote, uid), seen)
        made, panel = quote_records.take(session, page.actor, uid)
        return f"Took the commission “{made.title}”", f"/panels/{panel.uid}"

    doing.do_once(page, given, act)
    with page.db.read() as session:
        panel = quote_records.panel_of(session, quote_records.get(session, page.actor, uid))
        return QuoteTakenOut(quote_uid=uid, panel_uid=panel.uid if panel else "")


@router.post("/quotes/{uid}/archive", response_model=QuoteOut, **changing("Put a quote away", held=True))
def archive_quote(page: Page, uid: Uid, given: Sending, seen: VersionSeen) -> Any:
    """It stays to be read."""
    doing.check_empty(given)

    def act(session: Session) -> Told:
        doing.hold(session, page.actor, (Quote, uid), seen)
        away = quote_records.archive(session, page.actor, uid)
        return f"Put away the quote for “{away.title}”", "/plan/promise"

    doing.do_once(page, given, act)
    return _read(page, uid)


@router.get("/quotes/{uid}/others", summary="A quote beside the other open ones", responses=problems(404, 409, 422))
def others(page: Page, uid: Uid) -> QuoteOthersOut:
    """Its date if the others are taken first, and what taking it does to them, worked out for each asking."""
    found = quotes_together.ask(page.db, page.actor, uid, page.now, page.zone)
    if found is None:
        return QuoteOthersOut(counted=(), deliver_on=None, start_at=None, endangered=(), breaks=())
    return QuoteOthersOut(
        counted=found.counted,
        deliver_on=found.deliver_on,
        start_at=found.start_at,
        endangered=tuple(_fallen(one) for one in found.endangered),
        breaks=tuple(_fallen(one) for one in found.breaks),
    )


def _fallen(one: Endangered) -> QuoteEndangeredOut:
    panel, quote = (one.uid, None) if one.kind == "panel" else (None, one.uid)
    return QuoteEndangeredOut(panel_uid=panel, quote_uid=quote, title=one.title, before=one.before, after=one.after)


def _read(page: PageRequest, uid: str) -> QuoteOut:
    with page.db.read() as session:
        row = quote_records.get(session, page.actor, uid)
        return _quote(session, row, ages(session, page.actor, [row], page.now)[uid])


def _quote(session: Session, row: Quote, age: Age) -> QuoteOut:
    content = row.content_json or {}
    panel = quote_records.panel_of(session, row)
    varnish = content["varnish"]
    return QuoteOut(
        uid=row.uid,
        version=row.version,
        created_at=row.created_at,
        archived_at=row.archived_at,
        asked=QuoteAskedOut.model_validate(content["asked"]),
        stack=content["stack"],
        made_on=date.fromisoformat(content["made_on"]),
        deliver_on=date.fromisoformat(content["deliver_on"]),
        central_on=date.fromisoformat(content["central_on"]),
        odds=content["odds"],
        wanted_odds=content["wanted_odds"],
        start_at=content["start_at"],
        sittings=tuple(QuoteSittingOut.model_validate(each) for each in content["sittings"]),
        endangered=tuple(
            EndangeredOut(panel_uid=each["uid"], title=each["title"], before=each["before"], after=each["after"])
            for each in content["endangered"]
        ),
        slipping=tuple(SlippingOut(panel_uid=each["uid"], title=each["title"]) for each in content.get("slipping", ())),
        varnish=None if varnish is None else VarnishDaysOut(first_on=varnish["from"], last_on=varnish["to"]),
        panel_uid=None if panel is None else panel.uid,
        age=age,
    )
