"""What the history tells of a change of working hours."""

from collections.abc import Sequence
from datetime import date

from server.services.planning import WorkTimeCreate
from server.services.working_hours import RepeatCreate, WeekCreate
from server.store.tables import WorkTime
from server.web.hours_words import day_words, time_words
from server.web.words import join_words

MOST_NAMED = 2


def day(on: date) -> str:
    """A day with its year, as the planner writes them: what is kept is told in the manner of whoever reads it."""
    return f"{on:%A} {on.day} {on:%B %Y}"


def added(given: WorkTimeCreate | WeekCreate | RepeatCreate) -> str:
    if given.start and isinstance(given, RepeatCreate):
        return f"Added repeating days of {given.painter}"
    if given.start:
        return f"Added hours of {given.painter}"
    if given.painter:
        return f"Added days without work of {given.painter}"
    return "Added days without work for everybody"


def away(painter: str, worked: Sequence[date]) -> str:
    """``worked``: days among them that have hours of their own, and keep them."""
    told = f"Noted days away of {painter}" if painter else "Noted days away of everybody"
    return _with_worked(told, worked)


def days_off(count: int, worked: Sequence[date]) -> str:
    return _with_worked("Added a day off" if count == 1 else f"Added {count} days off", worked)


def taken_away(row: WorkTime, today: date) -> str:
    days = day_words(row, today)
    if row.start_min is not None:
        return f"Took away hours of {row.painter}: {days}, {time_words(row)}"
    if row.painter:
        return f"Took away days without work of {row.painter}: {days}"
    return f"Took away days without work of everybody: {days}"


def _with_worked(told: str, worked: Sequence[date]) -> str:
    if not worked:
        return told
    if len(worked) > MOST_NAMED:
        return f"{told}. Hours of one day stay on {len(worked)} of them"
    days = join_words([day(on) for on in worked])
    return f"{told}. Hours of one day stay on {days}"
