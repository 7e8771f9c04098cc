"""What a plan of a studio is made from, with what effort, and what comes of it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

from server.planning.schedule.check import Fault
from server.planning.schedule.plan import Plan
from server.planning.schedule.planner import Bench
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Progress
from server.science.soundness.types import Finding
from server.services.board.facts import Moment
from server.services.board.films import panel_layers
from server.services.board.plan_problem import Extra, Room
from server.services.board.rows import StudioRows
from server.services.board.standing import PanelStanding, standings
from server.services.fields import Command
from server.services.planning_rules import Answer
from server.services.planning_ways import OnShelf

SECONDS = 1.0


class PlanMake(Command):
    """What a plan is made with; an empty box is no limit. ``anew``: everything may move, the plan in use or not."""

    easels: Annotated[int, Field(ge=1, le=1000)] | None = None
    rack_places: Annotated[int, Field(ge=1, le=10_000)] | None = None
    mix_setup_min: Annotated[int, Field(ge=0, le=240)] = 30
    anew: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """A studio as it is read for a plan."""

    board: StudioRows
    moment: Moment
    room: Room
    found: list[PanelStanding]
    shelf: OnShelf
    command: PlanMake

    def __reduce__(self) -> tuple[Any, ...]:
        """Sent without where the panels stand, which is more than all else: there it is found again."""
        return _found_again, (self.board, self.moment, self.room, self.shelf, self.command)


def _found_again(board: StudioRows, moment: Moment, room: Room, shelf: OnShelf, command: PlanMake) -> Asked:
    return Asked(board, moment, room, standings(board, panel_layers(board, moment), moment), shelf, command)


@dataclass(frozen=True, slots=True)
class Effort:
    """``seconds`` of search, or ``moves`` of it, which makes the plan the same every time. ``told`` hears of its
    progress; answering False stops it, and the best plan so far counts. ``first`` hears of the first plan that was
    proved, before it is looked whether another one is worth more."""

    seconds: float = SECONDS
    moves: int | None = None
    told: Callable[[Progress], bool] | None = None
    first: "Callable[[Made], None] | None" = None


@dataclass(slots=True)
class Made:
    """A plan with the problem it answers, what the rules asked for it, what they say of each of its sittings on its
    day, the layers whose pin cannot hold any more, and what does not hold of pins that stay."""

    plan: Plan
    bench: Bench
    asked: Problem
    extra: Extra
    said: tuple[Answer, ...]
    let_go: frozenset[str] = frozenset()
    held: tuple[Fault, ...] = ()

    def cautions(self) -> dict[str, list[Finding]]:
        """By layer, what the rules caution against on its day."""
        return {answer.layer.row.uid: answer.cautions for answer in self.said if answer.cautions}
