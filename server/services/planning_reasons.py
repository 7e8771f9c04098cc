"""Why a sitting is on its day, in the painter's words: what the search knows, and what it was told of the rules."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from server.planning.schedule.reader import day_of
from server.services.board.rule_waits import lies_since
from server.services.board.spans import day_of_age
from server.services.board.standing import PanelStanding
from server.services.plan_reading import Rest
from server.services.planning_asked import Asked, Made

RULE, THERE = "a rule asks to wait over", "the panel is there from"  # as the planner words them


class Reasons:
    """Words for the reasons of a plan's sittings."""

    def __init__(self, made: Made, asked: Asked) -> None:
        self._made, self._asked = made, asked
        self._standing = {one.layers.panel.uid: one for one in asked.found}
        self._release = {panel.id: panel.release_on for panel in made.asked.panels}

    def told(self, sitting: Mapping[str, Any]) -> str:
        """The reason of a sitting as the planner told it, by uids, with what the rules have to do with it."""
        panel, text = sitting["panel"], sitting["binding"]["text"]
        rest, release = self._made.extra.rests.get(sitting["id"]), self._release[panel]
        # What it waits for comes first, then what has taken the working times since.
        waits, semicolon, since = text.partition("; ")
        if waits.startswith(RULE) and rest is not None:
            waits = _else(waits, rest)
        elif waits.startswith(THERE) and release is not None:
            waits = self._released(self._standing[panel], release, rest)
        return f"{waits}; {since}" if semicolon else waits

    def _released(self, standing: PanelStanding, release: date, rest: Rest | None) -> str:
        """Why the first layer to come waits for what lies on the panel already."""
        moment, since = self._asked.moment, lies_since(standing.layers, self._asked.moment.zone)
        day = day_of(release)
        if rest is not None and since is not None and release <= day_of_age(since, rest.days, moment.zone):
            return _else(f"a rule asks to wait until {day}", rest)
        allowed = standing.allowed_from(moment)
        if allowed is not None and release <= allowed:
            return f"a rule asks to wait until {day}"
        pct = round(100 * self._made.asked.confidence)
        return (
            f"what is on the panel is dry to recoat by {day}, at a chance of {pct} in 100; "
            "once you press it touch-dry, it may be sooner"
        )


def _else(why: str, rest: Rest) -> str:
    if rest.is_stop:
        return f"{why}, else it stops the layer: {rest.title} ({rest.rule})"
    return f"{why}, else it cautions: {rest.title} ({rest.rule})"
