"""The rules of soundness to read, and their limits rule by rule; the sets to begin with for shelf and stacks."""

from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import JSONResponse, Response

from server.formats.rooms_json import RuleOut, RulePageOut, RulesOut, SourceOut, StarterOut
from server.formats.studio_json import LimitsOut
from server.services import rule_limits, rulebook, shelf, stack_starters
from server.services.errors import Conflict
from server.services.rule_limits import LimitsUpdate
from server.services.rulebook import RulePage
from server.web.api import doing
from server.web.api.boards import severity_out
from server.web.api.doing import Told, changing
from server.web.api.record_schemas import ETAG, body_of, problems
from server.web.api.sent import Sending, VersionWanted
from server.web.api.studio import limit_out, limits_out
from server.web.deps import Page, PageRequest
from server.web.errors import problem

router = APIRouter(tags=["rules"])
RuleId = Annotated[str, Path(description="The rule's number, such as R01")]
FOUND: dict[int | str, Any] = {200: {"description": "The rule", "headers": ETAG, "model": RulePageOut}}


@router.get("/rules", summary="The rules of soundness", responses=problems())
def rules(page: Page) -> RulesOut:
    """Every rule with its reason and what supports it."""
    with page.db.read() as session:
        ids = [rule.rule.id for family in rulebook.families(session, page.actor) for rule in family.rules]
        pages = [rulebook.rule_page(session, page.actor, each) for each in dict.fromkeys(ids)]
    return RulesOut(items=tuple(rule for each in pages for rule in _rules(each)))


@router.get("/rules/{uid}", summary="One rule with its limits", responses={**FOUND, **problems(404, 422)})
def rule(page: Page, uid: RuleId) -> Response:
    """The limits that it looks at, with the version to set them by."""
    return _answer(page, uid)


@router.put(
    "/rules/{uid}/limits",
    summary="Set the limits of one rule",
    responses={**FOUND, **problems(400, 404, 409, 412, 413, 415, 422, 428)},
    openapi_extra=body_of("LimitsChange"),
)
def set_limits(page: Page, uid: RuleId, given: Sending, version: VersionWanted) -> Response:
    """Several at once; a limit without a value goes back to its default."""
    command = given.command(LimitsUpdate, version=version)

    def act(session: Session) -> Told:
        rule_limits.update(session, page.actor, uid, command)
        return f"Set the limits of rule {uid}", f"/rules/{uid}"

    try:
        doing.do_once(page, given, act)
    except Conflict:
        return problem(412, "These limits were changed since. Read them again.")
    return _answer(page, uid)


@router.post("/limits/reset", response_model=LimitsOut, **changing("Put all limits back to their defaults"))
def reset_limits(page: Page, given: Sending) -> Any:
    """As they are delivered."""
    doing.check_empty(given)

    def act(session: Session) -> Told:
        rule_limits.reset_all(session, page.actor)
        return "Put all limits of the rules back to the defaults", "/rules"

    doing.do_once(page, given, act)
    return limits_out(page)


@router.post("/shelf/starter", response_model=StarterOut, **changing("Put a shelf to begin with"))
def shelf_starter(page: Page, given: Sending) -> Any:
    """Paints, mediums and a thinner; what is there already is left alone."""
    doing.check_empty(given)
    added = {"added": 0}

    def act(session: Session) -> Told:
        added["added"] = shelf.add_starter(session, page.actor)
        return f"Added {added['added']} things to the shelf", "/shelf"

    doing.do_once(page, given, act)
    return StarterOut(added=added["added"])


@router.post("/stacks/starter", response_model=StarterOut, **changing("Keep stacks to begin with"))
def stacks_starter(page: Page, given: Sending) -> Any:
    """Four of ours; what is there already is left alone."""
    doing.check_empty(given)
    added = {"added": 0}

    def act(session: Session) -> Told:
        added["added"] = stack_starters.add(session, page.actor)
        return f"Added {added['added']} stacks to begin with", "/stacks"

    doing.do_once(page, given, act)
    return StarterOut(added=added["added"])


def _answer(page: PageRequest, uid: str) -> Response:
    with page.db.read() as session:
        found = rulebook.rule_page(session, page.actor, uid)
    told = RulePageOut(
        id=found.id,
        version=found.version,
        rules=_rules(found),
        limits=tuple(limit_out(each) for each in found.limits),
    )
    return JSONResponse(told.model_dump(mode="json"), headers={"ETag": f'"{told.version}"'})


def _rules(found: RulePage) -> tuple[RuleOut, ...]:
    return tuple(
        RuleOut(
            id=each.rule.id,
            title=each.rule.title,
            looks_at=each.rule.looks_at,
            weighs=tuple(severity_out(one) for one in each.rule.weighs),
            why=each.rule.why,
            dispute=each.rule.dispute,
            basis=each.rule.basis,
            evidence=each.rule.evidence,
            sources=tuple(SourceOut(cite=one.cite, read=one.read) for one in each.sources),
        )
        for each in found.rules
    )
