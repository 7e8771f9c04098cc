"""Numbers as a painter says them, with no more precision than they have."""

import math

SLACK = 0.2  # a fifth of a step over is not worth the next one


def days(value_d: float) -> str:
    """An age or a wait, mostly rounded up: hours below two days, half days below ten, then whole days and months, and
    years from two on."""
    if value_d < 2.0:
        hours = max(1, math.ceil(value_d * 24.0 - SLACK))
        return f"{hours} hour{'s' if hours != 1 else ''}"
    if value_d < 10.0:
        return f"{math.ceil(value_d * 2.0 - SLACK) / 2.0:g} days"
    whole = math.ceil(value_d - SLACK)
    if whole < 100:
        return f"{whole} days"
    if whole < 730:
        return f"{whole} days (about {round(whole / 30.4)} months)"
    return f"about {amount(whole / 365.25)} years"


def amount(value: float) -> str:
    """Two digits of a quantity: 0.47, 1.9, 14."""
    if value >= 9.95:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 0.995 else f"{value:.2f}"


def enough(value: float) -> str:
    """Two digits of a quantity that less would not do for, rounded up: 0.47, 1.9, 14; from ten on a tenth where it
    takes one, 12.1."""
    digits = 1 if value >= 0.995 else 2
    up = math.ceil(value * 10.0**digits - 1e-6) / 10.0**digits
    return f"{up:.1f}".removesuffix(".0") if up >= 9.95 else amount(up)


def percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def richness(value: float) -> str:
    return "oil without paint" if math.isinf(value) else f"{value:.2f}"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
