"""A plan in use set right after something happened: what can stay stays, and little of the rest moves.

First everything is put back where it stood, as far as that still holds, and what does not is put where it costs least.
Then the search goes on from there, but may move no more sittings to another day than a painter would put up with.
"""

from server.planning.schedule import planner
from server.planning.schedule.compiled import PLAIN, Search
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Budget

REPAIR_PRICE = 600.0  # of a sitting that changes its day
MOST_MOVED = 12
SEARCH_S = 0.25
TOGETHER_S = 0.15  # of several threads: two come further in it than one in the time above, by the bench's events


def search_s(count: int) -> float:
    """For how long somebody waits for the search, by the threads it has."""
    return SEARCH_S if count == 1 else TOGETHER_S


def repair(problem: Problem, search: Search = PLAIN, budget: Budget | None = None) -> Plan:
    """The repaired plan within the budget."""
    return planner.plan(problem, search, budget or Budget(seconds=SEARCH_S))[0]
