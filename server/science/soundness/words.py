"""Numbers as a painter says them, with no more precision than they have."""

import math


def days(value_d: float) -> str:
    """An age or a wait, rounded up: hours below two days, half days below ten, then whole days and months."""
    if value_d < 2.0:
        hours = max(1, math.ceil(value_d * 24.0 - 1e-6))
        return f"{hours} hour{'s' if hours != 1 else ''}"
    if value_d < 10.0:
        half = math.ceil(value_d * 2.0 - 1e-6) / 2.0
        return f"{half:g} days"
    whole = math.ceil(value_d - 1e-6)
    if whole < 100:
        return f"{whole} days"
    return f"{whole} days (about {round(whole / 30.4)} months)"


def amount(value: float) -> str:
    """Two digits of a quantity: 0.47, 1.9, 14."""
    if value >= 10.0:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 1.0 else f"{value:.2f}"


def percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def richness(value: float) -> str:
    return "oil without paint" if math.isinf(value) else f"{value:.2f}"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
