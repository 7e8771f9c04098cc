"""The studio's people: members with their roles, invitations, what happened. Only where people sign in."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import JSONResponse, Response

from server.formats.sharing_json import (
    Done,
    InvitationMade,
    InvitationOut,
    InvitationsOut,
    LeftOut,
    MemberOut,
    MembersOut,
    PeopleEventOut,
    PeopleEventsOut,
    PeopleLeftOut,
)
from server.services.people import events, invitations, members, purging, undoing
from server.services.people.invitations import InvitationCreate
from server.services.people.members import RoleUpdate
from server.services.sendings import refuse_key_of_another_row
from server.store.tables import Invitation
from server.web.api import doing
from server.web.api.doing import changing
from server.web.api.record_schemas import problems
from server.web.api.records import After, Limit, Uid
from server.web.api.sent import Sending
from server.web.api.slices import slice_of
from server.web.deps import Page
from server.web.pages.people_pages import NO_STORE, need_shared

router = APIRouter(tags=["people"])
BODIES = (InvitationCreate, RoleUpdate)


@router.get("/members", summary="Who belongs to the studio", responses=problems(404, 422))
def all_members(page: Page, limit: Limit = 50, after: After = None) -> MembersOut:
    """Each with their role. 404 where nobody signs in."""
    need_shared(page)
    with page.db.read() as session:
        found = members.all_members(session, page.actor, page.identity)
    shown, more = slice_of(found, lambda each: each.uid, limit, after)
    return MembersOut(
        items=tuple(MemberOut(**{name: getattr(each, name) for name in MemberOut.model_fields}) for each in shown),
        next_after=more,
    )


@router.get("/members/left", summary="Who left the studio", responses=problems(404, 422))
def people_who_left(page: Page, limit: Limit = 50, after: After = None) -> PeopleLeftOut:
    """The last one first. Their accounts stay until they are purged."""
    need_shared(page)
    with page.db.read() as session:
        found = purging.all_left(session, page.actor)
    shown, more = slice_of(found, lambda each: each.uid, limit, after)
    items = tuple(LeftOut(uid=each.uid, name=each.name, ended_at=each.ended_at) for each in shown)
    return PeopleLeftOut(items=items, next_after=more)


@router.get("/members/events", summary="What happened to people", responses=problems(404))
def people_events(page: Page) -> PeopleEventsOut:
    """Who came, who was let in, whose role changed; the last ones."""
    need_shared(page)
    with page.db.read() as session:
        found = events.of_studio(session, page.actor.studio_id)
    return PeopleEventsOut(
        items=tuple(
            PeopleEventOut(at=each.at, actor=each.actor, label=each.label, uid=each.uid, can_undo=each.can_undo)
            for each in found
        )
    )


@router.post("/members/events/{uid}/undo", response_model=Done, **changing("Take back what was changed with people"))
def undo_people_event(page: Page, uid: Uid, given: Sending) -> Any:
    """A role, a removal, an invitation; twice is the same as once. 409 where the same was changed since."""
    need_shared(page)
    doing.check_empty(given)
    with page.db.write() as session:
        undoing.undo(session, page.actor, uid, page.now)
    return Done(done=True)


@router.post("/members/{uid}/role", response_model=Done, **changing("Give a member another role", "RoleUpdate"))
def set_role(page: Page, uid: Uid, given: Sending) -> Any:
    """The studio never loses its last owner."""
    command = given.command(RoleUpdate)
    need_shared(page)
    with page.db.write() as session:
        members.set_role(session, page.actor, uid, command, page.now)
    return Done(done=True)


@router.post("/members/{uid}/remove", response_model=Done, **changing("Take somebody out of the studio"))
def remove_member(page: Page, uid: Uid, given: Sending) -> Any:
    """What they did stays under their name."""
    need_shared(page)
    doing.check_empty(given)
    with page.db.write() as session:
        members.remove(session, page.actor, uid, page.now)
    return Done(done=True)


@router.get("/invitations", summary="Invitations that can still be used", responses=problems(404, 422))
def pending(page: Page, limit: Limit = 50, after: After = None) -> InvitationsOut:
    """Without their links, which nobody can be told again."""
    need_shared(page)
    with page.db.read() as session:
        found = invitations.all_pending(session, page.actor, page.now)
    shown, more = slice_of(found, lambda each: each.uid, limit, after)
    return InvitationsOut(
        items=tuple(
            InvitationOut(**{name: getattr(each, name) for name in InvitationOut.model_fields}) for each in shown
        ),
        next_after=more,
    )


@router.post(
    "/invitations", response_model=InvitationMade, **changing("Invite somebody", "InvitationCreate", status=201)
)
def invite(page: Page, given: Sending) -> Response:
    """A link that lets one person in, within a week. It is in this answer alone."""
    need_shared(page)
    command = given.command(InvitationCreate)
    with page.db.write() as session:
        refuse_key_of_another_row(session, page.actor, Invitation, given.key)
        made = invitations.invite(session, page.actor, command, given.key, page.now)
    told = InvitationMade(
        address=f"{page.request.base_url}join/{made.token}",
        role=made.role,
        meant_for=made.meant_for,
        expires_at=made.expires_at,
    )
    return JSONResponse(told.model_dump(mode="json"), 201, NO_STORE)


@router.post("/invitations/{uid}/revoke", response_model=Done, **changing("Take an invitation back"))
def revoke_invitation(page: Page, uid: Uid, given: Sending) -> Any:
    """Twice is the same as once."""
    need_shared(page)
    doing.check_empty(given)
    with page.db.write() as session:
        invitations.revoke(session, page.actor, uid, page.now)
    return Done(done=True)
