"""The areas that lead through the app, at the foot of a phone and the head of a desk."""

from dataclasses import dataclass

# Label, address, shape, and the addresses that belong to the area.
AREAS = (
    ("Today", "/", "today", ("/", "/sittings")),
    ("Calendar", "/calendar", "calendar", ("/calendar", "/plan", "/share")),
    ("Panels", "/panels", "panels", ("/panels", "/layers", "/tests", "/finish", "/finish-tests")),
    ("Mixing", "/mixing", "mixing", ("/mixing", "/mixes", "/stacks")),
    ("Shelf", "/shelf", "shelf", ("/shelf",)),
    ("Room", "/room", "room", ("/room",)),
)


@dataclass(frozen=True, slots=True)
class NavigationItem:
    label: str
    href: str
    shape: str
    is_current: bool


def navigation_at(path: str) -> list[NavigationItem]:
    """The areas, the one that ``path`` is in marked."""
    return [NavigationItem(label, href, shape, _is_within(path, stems)) for label, href, shape, stems in AREAS]


def _is_within(path: str, stems: tuple[str, ...]) -> bool:
    return any(path == stem or (stem != "/" and path.startswith(stem + "/")) for stem in stems)
