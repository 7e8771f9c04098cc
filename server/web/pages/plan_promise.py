"""Promise a date: a commission asked about beside the plan, kept as a quote, printed, and made a panel by one tap."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.formats.drawings_odds import odds_picture
from server.services import (
    places,
    planning,
    planning_promise,
    planning_search,
    quote_records,
    quotes_together,
    stack_plans,
)
from server.services.board.facts import DaySpan
from server.services.errors import Invalid, Refused
from server.services.planning_promise import PromiseAsk
from server.services.quote_age import ages
from server.services.quotes_together import Endangered, Together, others_of
from server.store.tables import Name, Quote
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, change, change_by_button
from server.web.standing_words import span_words

router = APIRouter(prefix="/plan/promise")
NEW = {"support": "hardboard", "ground_kind": "acrylic", "ground_surface": "matte", "packing_d": "1", "transit_d": "0"}


@router.get("")
def promise(page: Page) -> Response:
    """The question, and the quotes that were given."""
    if page.may("paint"):
        planning_search.expect(page.db, page.actor, page.now, page.zone)
    return page.render("plan/promise.html", {**_context(page), "form": FormState(values=NEW)})


@router.post("")
def ask(page: Page, posted: Posted) -> Response:
    """Answer, and keep the answer as a quote. The plan in use stays as it is."""
    command, form = parse(posted, PromiseAsk, zone=page.zone)
    if command is None:
        return page.render("plan/promise.html", {**_context(page), "form": form}, 422)
    try:
        content = planning_promise.ask(page.db, page.actor, command, page.now, page.zone)
    except Invalid as fault:
        form.add_errors(fault.errors)
        return page.render("plan/promise.html", {**_context(page), "form": form}, 422)
    except Refused as fault:
        form.add_error("", fault.message)
        return page.render("plan/promise.html", {**_context(page), "form": form}, 409)

    def act(session: Session) -> Done:
        quote = quote_records.keep(session, page.actor, command, content)
        return Done(f"Worked out a date for “{quote.title}”", f"/plan/promise/{quote.uid}")

    return change(page, posted, act)


@router.get("/{uid}")
def show(page: Page, uid: str) -> Response:
    """The quote, to print for the buyer; below it what the painter alone wants to know."""
    with page.db.read() as session:
        quote = quote_records.get(session, page.actor, uid)
        panel = quote_records.panel_of(session, quote)
        every = quote_records.all_open(session, page.actor)
        age = ages(session, page.actor, [*every, quote], page.now)
    again = {name: value for name, value in (quote.content_json or {})["asked"].items() if value is not None}
    others = _named(others_of(quote, every, age))
    facts = {"quote": _quote(quote, page), "panel": panel, "age": age[quote.uid], "again": again, "others": others}
    return page.render("plan/quote.html", facts)


@router.get("/{uid}/others")
def together(page: Page, uid: str) -> Response:
    """What this quote and the other open ones do to each other, as it would be now."""
    try:
        found = quotes_together.ask(page.db, page.actor, uid, page.now, page.zone)
        refusal = ""
    except Refused as fault:
        found, refusal = None, fault.message
    with page.db.read() as session:
        quote = quote_records.get(session, page.actor, uid)
        every = quote_records.all_open(session, page.actor)
    counted = () if found is None else found.counted
    facts = {
        "quote": _quote(quote, page),
        "refusal": refusal,
        "together": None if found is None else _together(found),
        "others": _named([one for one in every if one.uid in counted]),
    }
    return page.render("plan/quote_others.html", facts, 409 if refusal else 200)


@router.post("/{uid}/take")
def take(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        quote, panel = quote_records.take(session, page.actor, uid)
        return Done(f"Took the commission “{quote.title}”", f"/panels/{panel.uid}")

    return change_by_button(page, posted, act, f"/plan/promise/{uid}")


@router.post("/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        quote = quote_records.archive(session, page.actor, uid)
        return Done(f"Put away the quote for “{quote.title}”", "/plan/promise")

    return change_by_button(page, posted, act, "/plan/promise")


def _context(page: PageRequest) -> dict[str, Any]:
    with page.db.read() as session:
        given = list(reversed(quote_records.all_open(session, page.actor)))
        age = ages(session, page.actor, given, page.now)
        return {
            "has_hours": any(row.painter for row in planning.all_open(session, page.actor)),
            "stacks": [(stack.uid, stack.label) for stack in stack_plans.all_open(session, page.actor)],
            "places": [(place.uid, place.name) for place in places.all_open(session, page.actor)],
            "quotes": [
                (quote, date.fromisoformat((quote.content_json or {})["deliver_on"]), age[quote.uid]) for quote in given
            ],
        }


def _named(quotes: Sequence[Quote]) -> list[tuple[str, Name, Name, date]]:
    """Uid, name, buyer, and the day told."""
    return [(one.uid, Name(one.title), Name(one.for_whom), quote_records.due_on(one)) for one in quotes]


def _together(found: Together) -> dict[str, Any]:
    return {
        "deliver_on": found.deliver_on,
        "start_at": found.start_at,
        "endangered": [_fallen(one) for one in found.endangered],
        "breaks": [_fallen(one) for one in found.breaks],
    }


def _fallen(one: Endangered) -> tuple[str, Name, str, str]:
    """The address of its page, its name, and its odds before and after."""
    href = f"/panels/{one.uid}" if one.kind == "panel" else f"/plan/promise/{one.uid}"
    return href, Name(one.title), odds_picture(one.before).words, odds_picture(one.after).words


def _quote(quote: Quote, page: PageRequest) -> dict[str, Any]:
    content = quote.content_json or {}
    varnish = content["varnish"]
    wanted_on = content["asked"]["wanted_on"]
    return {
        "uid": quote.uid,
        "title": quote.title,
        "for_whom": quote.for_whom,
        "asked": content["asked"],
        "stack": Name(content["stack"]),
        "made_on": date.fromisoformat(content["made_on"]),
        "deliver_on": date.fromisoformat(content["deliver_on"]),
        "odds": odds_picture(content["odds"]),
        "wanted_on": date.fromisoformat(wanted_on) if wanted_on else None,
        "wanted": None if content["wanted_odds"] is None else odds_picture(content["wanted_odds"]),
        "start_at": datetime.fromisoformat(content["start_at"]),
        "sittings": [
            (one["kind"], datetime.fromisoformat(one["start_at"]), Name(one["painter"])) for one in content["sittings"]
        ],
        "endangered": [
            (one["uid"], Name(one["title"]), odds_picture(one["before"]).words, odds_picture(one["after"]).words)
            for one in content["endangered"]
        ],
        "slipping": [(one["uid"], Name(one["title"])) for one in content.get("slipping", ())],
        "varnish": None if varnish is None else _varnish_words(varnish),
        "is_archived": quote.archived_at is not None,
    }


def _varnish_words(varnish: dict[str, str]) -> str:
    """``likely 3 June to 8 August 2027``: told in full, since the buyer reads it on another day."""
    low, high = date.fromisoformat(varnish["from"]), date.fromisoformat(varnish["to"])
    return span_words(DaySpan(low, low, high), date.max)
