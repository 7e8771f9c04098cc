"""What of a large plan its page leaves to be asked for, each part on a page of its own: days by month, the panels on
course, all that a plan changes. The plan's page shows the same parts in place; its address then takes up what is open,
so that whoever comes back to it finds it so."""

from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.web.deps import Page, PageRequest
from server.web.plan_parts import folded, month_of, plans
from server.web.plan_shown import PlanShown

router = APIRouter(prefix="/plan")


@router.get("/days")
def days(page: Page) -> Response:
    """The plan in use, where the page of plans has one that waits above it."""
    return _left_open(page, _in_use(page, "plan"), "open", "days")


@router.get("/days/{month}")
def month_in_use(page: Page, month: str) -> Response:
    return _left_open(page, _month(page, "", month), "month", month)


@router.get("/panels")
def panels_in_use(page: Page) -> Response:
    return _left_open(page, _in_use(page, "panels"), "open", "panels")


@router.get("/panels/{panel_uid}")
def help_in_use(page: Page, panel_uid: str) -> Response:
    return _help(page, "", panel_uid)


@router.get("/{uid}/days/{month}")
def month_of_waiting(page: Page, uid: str, month: str) -> Response:
    return _left_open(page, _month(page, uid, month), "then", month)


@router.get("/{uid}/panels")
def panels_of_waiting(page: Page, uid: str) -> Response:
    return _left_open(page, _part(page, "panels", _of(page, uid)), "open", "then-panels")


@router.get("/{uid}/panels/{panel_uid}")
def help_of_waiting(page: Page, uid: str, panel_uid: str) -> Response:
    return _help(page, uid, panel_uid)


@router.get("/{uid}/changes")
def changes(page: Page, uid: str) -> Response:
    plan = _of(page, uid)
    return _part(page, "changes", plan, changes=plan and plan.changes)


def _left_open(page: PageRequest, answer: Response, name: str, value: str) -> Response:
    """The part, and for the plan's page that htmx puts it into its address with what is open. Of each name it keeps
    what was opened last."""
    headers = page.request.headers
    current, _, asked = headers.get("HX-Current-URL", "").partition("#")[0].partition("?")
    is_there = current.partition("://")[2].partition("/")[2] == "plan"
    if is_there and answer.status_code == 200 and headers.get("HX-Request") == "true":
        query = {**_known(asked), name: value}
        answer.headers["HX-Replace-Url"] = f"/plan?{urlencode(query)}"
    return answer


def _known(query: str) -> dict[str, str]:
    return {name: value for name, value in parse_qsl(query) if name in ("month", "then", "open")}


def _in_use(page: PageRequest, kind: str) -> Response:
    plan = _of(page, "")
    return _not_here(page, "No plan is in use.", 200) if plan is None else _part(page, kind, plan)


def _month(page: PageRequest, uid: str, key: str) -> Response:
    plan = _of(page, uid)
    month = month_of(plan, key, page.today) if plan is not None else None
    if plan is not None and month is None:
        return _not_here(page, "Nothing is planned in this month.")
    return _part(page, "month", plan, month=month)


def _help(page: PageRequest, uid: str, panel_uid: str) -> Response:
    """What would help a late panel."""
    plan = _of(page, uid)
    panel = next((one for one in plan.panels if one.uid == panel_uid), None) if plan is not None else None
    if plan is not None and (panel is None or not panel.options):
        return _not_here(page, "Nothing that would help this panel is known now.")
    return _part(page, "help", plan, panel=panel)


def _of(page: PageRequest, uid: str) -> PlanShown | None:
    """The plan in use, or the one that waits where it has that uid."""
    with page.db.read() as session:
        found = plans(session, page)
    plan = found.proposal if uid else found.standing
    return plan if plan is not None and uid in ("", plan.uid) else None


def _part(page: PageRequest, kind: str, plan: PlanShown | None, **names: object) -> Response:
    if plan is None:
        return _not_here(page, "This plan was taken or put away, or none was made yet.")
    given = {"kind": kind, "plan": folded(plan, page.today), **names}
    return page.render("plan/part.html", given)


def _not_here(page: PageRequest, message: str, status: int = 404) -> Response:
    return page.render("plan/no_part.html", {"message": message}, status)
