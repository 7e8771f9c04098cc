"""A planned sitting in the painter's words: when, with whom, why this day; the same on every screen."""

from datetime import date, datetime

from server.services.plan_reading import PlannedSitting
from server.web import standing_words, words


def when_words(sitting: PlannedSitting, today: date) -> str:
    """``Thursday at 09:30, with Ada``; without the name where it is not to be told. Years ahead only the month: a rule
    that lasts so long is no appointment."""
    if standing_words.is_far(sitting.on, today):
        return standing_words.far_day_words(sitting.on, today)
    return f"{words.moment_words(sitting.start_at, today)}{f', with {sitting.painter}' if sitting.painter else ''}"


def clock_words(sitting: PlannedSitting) -> str:
    """``at 09:30, with Ada``: the same beneath a heading that names the day."""
    return f"at {words.clock(sitting.start_at)}{f', with {sitting.painter}' if sitting.painter else ''}"


def hours_words(sitting: PlannedSitting) -> str:
    """``09:30 to 11:00``."""
    return f"{words.clock(sitting.start_at)} to {words.clock(sitting.end_at)}"


def palette_words(sitting: PlannedSitting) -> str:
    """``Pale grey, mixed in the 30 minutes before``; nothing where no mix is named."""
    if not sitting.palette:
        return ""
    mixed = f"mixed in the {sitting.mixing_min} minutes before" if sitting.mixing_min else "mixed already that day"
    return f"{sitting.palette}, {mixed}"


def why_words(sitting: PlannedSitting, today: date) -> str:
    """Why it is not sooner, and how far it may slip, as sentences."""
    why = f"{sitting.why[:1].upper()}{sitting.why[1:]}"
    return f"{why}. {slip_words(sitting.start_at, sitting.slip_to, today)}"


def slip_words(start_at: datetime, slip_to: datetime, today: date) -> str:
    """``May slip to Friday at 09:00.``"""
    if slip_to <= start_at:
        return "Has no room to slip."
    return f"May slip to {words.moment_words(slip_to, today)}."
