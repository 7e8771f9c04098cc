"""What a mix may be put together from: everything on the shelf, by heading."""

from collections.abc import Sequence

from sqlmodel import Session

from server.services import mediums, paints, thinners
from server.services.access import Actor
from server.services.mixes import OnShelf

Choices = list[tuple[str, list[tuple[str, str]]]]


def on_shelf(session: Session, actor: Actor, held: Sequence[tuple[str, OnShelf]] = ()) -> Choices:
    """Pairs (value, label) under their headings; ``held`` is what a mix has already, archived or not."""
    found: list[tuple[str, str, list[OnShelf]]] = [
        ("paint", "Paints", [*paints.all_open(session, actor)]),
        ("medium", "Oils and mediums", [*mediums.all_open(session, actor)]),
        ("thinner", "Thinners", [*thinners.all_open(session, actor)]),
    ]
    choices: Choices = []
    for kind, heading, records in found:
        records += [record for of, record in held if of == kind and record.archived_at is not None]
        named = sorted(((f"{kind}:{record.uid}", record.label) for record in records), key=lambda x: x[1].casefold())
        if named:
            choices.append((heading, named))
    return choices
