"""The studio's people: members and their roles, invitations, what happened."""

from fastapi import APIRouter
from starlette.responses import Response

from server.formats.qr import qr_drawing
from server.services.errors import Refused
from server.services.people import events, invitations, members, purging, undoing
from server.services.people.invitations import InvitationCreate, Made
from server.services.people.members import RoleUpdate
from server.services.roles import ROLE_TOLD, ROLE_WORDS, ROLES
from server.web.deps import SENDING, Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.changes import refused
from server.web.pages.people_pages import FAULTS, NO_STORE, SecretForm, alone, need_shared

router = APIRouter(prefix="/people")

ROLE_CHOICES = tuple((role, ROLE_WORDS[role], ROLE_TOLD[role]) for role in reversed(ROLES))
DONE = {
    "role": "The role is changed.",
    "removed": "They are out of the studio.",
    "revoked": "The link opens no more.",
    "undone": "It is undone.",
}


@router.get("")
def all_people(page: Page, done: str = "") -> Response:
    """``done``: what was just done, by its word in ``DONE``."""
    return _page(page, DONE.get(done, "")).show(page, FormState()) if page.is_shared else alone(page)


@router.post("/invite")
def invite(page: Page, posted: Posted) -> Response:
    """Make a link and show it: here, and never again."""
    need_shared(page)
    command, form = parse(posted, InvitationCreate)
    if command is None:
        return _page(page).show(page, form, 422)
    key = getattr(page.request.state, SENDING, None)
    try:
        with page.db.write() as session:
            made = invitations.invite(session, page.actor, command, key, page.now)
    except FAULTS as fault:
        return _page(page).refuse(page, form, fault)
    return _link(page, made)


@router.post("/invitations/{uid}/revoke")
def revoke(page: Page, posted: Posted, uid: str) -> Response:
    need_shared(page)
    with page.db.write() as session:
        invitations.revoke(session, page.actor, uid, page.now)
    return page.see_other("/people?done=revoked")


@router.post("/{uid}/role")
def set_role(page: Page, posted: Posted, uid: str) -> Response:
    need_shared(page)
    command, form = parse(posted, RoleUpdate)
    if command is None:
        return refused(page, " ".join(form.errors.values()), "/people", 422)
    try:
        with page.db.write() as session:
            members.set_role(session, page.actor, uid, command, page.now)
    except Refused as fault:
        return refused(page, fault.message, "/people")
    return _after(page, "role", uid)


@router.post("/{uid}/remove")
def remove(page: Page, posted: Posted, uid: str) -> Response:
    need_shared(page)
    try:
        with page.db.write() as session:
            members.remove(session, page.actor, uid, page.now)
    except Refused as fault:
        return refused(page, fault.message, "/people")
    return _after(page, "removed", uid)


@router.post("/events/{uid}/undo")
def undo(page: Page, posted: Posted, uid: str) -> Response:
    """Take back a role, a removal, an invitation."""
    need_shared(page)
    try:
        with page.db.write() as session:
            undoing.undo(session, page.actor, uid, page.now)
    except Refused as fault:
        return refused(page, fault.message, "/people")
    return page.see_other("/people?done=undone")


def _after(page: PageRequest, done: str, uid: str) -> Response:
    """Back to the people, or, for an owner who has just stopped being one, to Today."""
    is_me = page.identity.studio is not None and page.identity.studio.membership_uid == uid
    return page.see_other("/" if is_me else f"/people?done={done}")


def _link(page: PageRequest, made: Made) -> Response:
    address = f"{page.request.base_url}join/{made.token}"
    shown = {
        "address": address,
        "drawing": qr_drawing(address),
        "made": made,
        "role": ROLE_WORDS[made.role],
    }
    return page.render("people/link.html", shown, headers=NO_STORE)


def _page(page: PageRequest, done: str = "") -> SecretForm:
    with page.db.read() as session:
        context = {
            "members": members.all_members(session, page.actor, page.identity),
            "left": purging.all_left(session, page.actor),
            "pending": invitations.all_pending(session, page.actor, page.now),
            "events": events.of_studio(session, page.actor.studio_id),
            "role_choices": ROLE_CHOICES,
            "ROLE_WORDS": ROLE_WORDS,
            "done": done,
        }
    return SecretForm("people/people.html", lambda: context)
