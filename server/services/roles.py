"""Roles, and what each may do: a table, nothing else. ``access.py`` decides by it, DEVELOPERS.md prints it.

A permission is named for what somebody does in the studio. Every table of records says which one it takes to change
its rows; a table that is not named takes ``paint``, so that a new one is never open to more than it should.
"""

from collections.abc import Mapping
from typing import Literal, get_args

from server.store.tables import Role

Permission = Literal["look", "test", "mix", "sit", "undo", "paint", "studio", "people", "purge"]

ROLES: tuple[Role, ...] = get_args(Role)
PERMISSIONS: tuple[Permission, ...] = get_args(Permission)
MEANING: Mapping[Permission, str] = {
    "look": "see everything of the studio, print it, take it along as a file",
    "test": "log, correct and take back touch tests and tests of the finish",
    "mix": "save, change and put away mixes",
    "sit": "log the end of a sitting: mixes left, brushes, lids, rags",
    "undo": "take back a change in the history, where the role may change what was changed",
    "paint": "panels, layers, finish, shelf, stacks, room, rules, plans, what is learned",
    "studio": "the studio's settings; links that show its schedule to others",
    "people": "who belongs to the studio, and with which role",
    "purge": "take records away for ever",
}
_HANDS: frozenset[Permission] = frozenset({"look", "test", "mix", "sit", "undo"})
MAY: Mapping[Role, frozenset[Permission]] = {
    "owner": frozenset(PERMISSIONS),
    "painter": _HANDS | {"paint"},
    "assistant": _HANDS,
    "viewer": frozenset({"look"}),
}
ROLE_WORDS: Mapping[Role, str] = {
    "owner": "Owner",
    "painter": "Painter",
    "assistant": "Assistant",
    "viewer": "Viewer",
}
ROLE_TOLD: Mapping[Role, str] = {
    "owner": "Everything, people and settings too",
    "painter": "Everything at the easel",
    "assistant": "Touch tests, mixes, ends of sittings",
    "viewer": "Looks on, changes nothing",
}
# Which permission it takes to change rows of a table; any other takes "paint".
OF_TABLE: Mapping[str, Permission] = {
    "touch_test": "test",
    "finish_test": "test",
    "mix": "mix",
    "mix_part": "mix",
    "sitting_end": "sit",
    "sitting_mix": "sit",
    "studio": "studio",
    "share_link": "studio",
    "share_link_panel": "studio",
}
# Which permission it takes to see the history of one record of a table; any other takes "look".
TO_SEE: Mapping[str, Permission] = {"share_link": "studio"}


def permission_for(table: str) -> Permission:
    """What it takes to change rows of a table, by its name in the database."""
    return OF_TABLE.get(table, "paint")
