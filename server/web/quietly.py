"""A plan that was just kept is improved on in the background, for whoever asked for it."""

from collections.abc import Mapping
from typing import Any

from server.services.planning_asked import PlanMake
from server.services.planning_quiet import QUIET, Begun
from server.web.deps import PageRequest


def improve_on(page: PageRequest, uid: str, content: Mapping[str, Any], *, anew: bool = False) -> None:
    """Look for a better plan than the one kept as ``uid``. It waits to be looked at when it is there."""
    QUIET.begin(begun_with(page, uid, content, anew=anew))


def begun_with(page: PageRequest, uid: str, content: Mapping[str, Any], *, anew: bool = False) -> Begun:
    """What is improved on then."""
    command = PlanMake.model_validate({**content.get("settings", {}), "anew": anew})
    return Begun(page.db, page.actor, uid, command, page.now, page.zone)
