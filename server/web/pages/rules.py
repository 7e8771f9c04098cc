"""The rule book: the rules of soundness to read, and their limits to set."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import rule_limits, rulebook
from server.services.rule_limits import LimitChange, LimitsUpdate
from server.services.rulebook import RulePage
from server.web.deps import Page, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage, change_by_button
from server.web.pages.record_forms import Reads, save
from server.web.words import figure

router = APIRouter(prefix="/rules")
UNITS = {
    "1": "",
    "um wet": "µm wet",
    "d": "days",
    "C": "°C",
    "layers": "layers",
    "g/ml": "g/ml",
    "drops per 10 ml": "drops per 10 ml",
}
BASES = {
    "published": "published",
    "common practice": "common practice, not measured",
    "derived": "our own choice",
    "from memory": "from memory, not checked",
}
READ = {"excerpt": "read in excerpts", "second-hand": "second-hand", "none": ""}


@router.get("")
def book(page: Page) -> Response:
    with page.db.read() as session:
        families = rulebook.families(session, page.actor)
    edited = any(rule.edited for family in families for rule in family.rules)
    return page.render("rules/list.html", {"families": families, "edited": edited, "bases": BASES})


@router.post("/reset")
def reset_all(page: Page, posted: Posted) -> Response:
    """Every limit back to its default."""

    def act(session: Session) -> Done:
        changes = rule_limits.reset_all(session, page.actor)
        return Done(_label("Put all limits of the rules back to the defaults", changes), "/rules")

    return change_by_button(page, posted, act, "/rules")


@router.get("/{uid}")
def rule(page: Page, uid: str) -> Response:
    shown = _read(page, uid)
    return _form(shown).show(page, _filled(shown))


@router.post("/{uid}")
def set_limits(page: Page, uid: str, posted: Posted) -> Response:
    shown = _read(page, uid)

    def act(session: Session, command: Any) -> Done:
        changes = rule_limits.update(session, page.actor, uid, command)
        return Done(_label(f"Set the limits of rule {uid}", changes), f"/rules/{uid}")

    return save(page, posted, Reads(LimitsUpdate), _form(shown), act)


@router.post("/{uid}/reset/{name}")
def reset_one(page: Page, uid: str, name: str, posted: Posted) -> Response:
    """One limit back to its default; the rule is the page that was looked at."""
    _read(page, uid)

    def act(session: Session) -> Done:
        changes = rule_limits.reset_one(session, page.actor, name)
        return Done(_label(f"Put a limit of rule {uid} back to the default", changes), f"/rules/{uid}")

    return change_by_button(page, posted, act, f"/rules/{uid}")


def _read(page: Page, uid: str) -> RulePage:
    with page.db.read() as session:
        return rulebook.rule_page(session, page.actor, uid)


def _form(shown: RulePage) -> FormPage:
    return FormPage("rules/rule.html", lambda: {"page": shown, "units": UNITS, "bases": BASES, "read": READ})


def _filled(shown: RulePage) -> FormState:
    limits = [{"name": limit.name, "value": limit.value} for limit in shown.limits]
    return FormState.of({"limits": limits, "version": shown.version})


def _label(words: str, changes: tuple[LimitChange, ...]) -> str:
    """What was done, with each limit before and after."""
    told = [f"{change.meaning} {figure(change.before, 6)} → {figure(change.after, 6)}" for change in changes]
    return f"{words}: {'; '.join(told)}" if told else words
