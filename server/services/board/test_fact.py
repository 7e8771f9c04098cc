"""A touch test as boards tell it."""

from dataclasses import dataclass
from datetime import datetime

from server.science.results import FilmState


@dataclass(frozen=True, slots=True)
class TestFact:
    """One touch test that stands. ``doubt``: the kind of a doubt that nobody answered yet, "" for none."""

    uid: str
    pressed_at: datetime
    state: FilmState
    place_on_panel: str
    note: str
    doubt: str = ""
