"""Invented studios to plan, by a seed: the kind of question a busy studio asks, from 5 to 1,000 panels.

Chains of layers with a fifth of them built differently (wet-in-wet pairs, tacky passages, two supports joined late),
palettes shared between panels, due dates grouped on days of shows, hours of two half-days, drying slow in winter. All
numbers are made up; the sizes follow a studio with more work than time.
"""

import random
from datetime import date, timedelta
from typing import Any

TODAY = date(2026, 11, 2)
# Drying speed by month in a room that is cold in winter, relative to 21 °C and 50 %: derived, not measured.
BY_MONTH = [0.62, 0.66, 0.78, 0.9, 1.05, 1.2, 1.3, 1.28, 1.12, 0.95, 0.76, 0.64]
MINUTES = (60, 90, 120, 120, 150, 150, 180, 180, 210)
LEAD_D = 75
WAITS = (2.0, 5.0, 10.0, 20.0, 30.0)
HOURS = [
    {"weekdays": [1, 2, 3, 4, 5], "from": "09:00", "to": "12:30"},
    {"weekdays": [1, 2, 3, 4], "from": "13:30", "to": "17:30"},
]
SIZES = {5: 1, 20: 1, 60: 1, 200: 2, 1000: 8}


def instance(panels: int, seed: int) -> dict[str, Any]:
    """A request of the ``plan`` call without seed and budget."""
    rng = random.Random(panels * 1000 + seed)
    count = SIZES.get(panels, max(1, round(panels / 120)))
    painters: list[dict[str, Any]] = [
        {"id": f"p{n + 1}", "hours": HOURS, "exceptions": _exceptions(rng)} for n in range(count)
    ]
    # All the work takes about so long; a panel by itself about LEAD_D.
    span_d = max(30, round(panels * 7.1 * 2.6 / 7.5 / count * 7 / 4.5))
    shows = [TODAY + timedelta(days=LEAD_D + round(span_d * (n + 1) / 6)) for n in range(6)]
    palettes = [f"palette {n + 1}" for n in range(max(4, round(6 + panels**0.5)))]
    return {
        "today": TODAY.isoformat(),
        "time_zone": "Europe/Lisbon",
        "painters": painters,
        "drying_speed": {"by_month": BY_MONTH},
        "rack_places": max(6, 12 * count),
        "easels": 3 * count,
        "panels": [_panel(rng, i, [p["id"] for p in painters], shows, palettes) for i in range(panels)],
    }


def _exceptions(rng: random.Random) -> list[dict[str, Any]]:
    days = [{"on": "2026-12-25", "closed": True}, {"on": "2027-01-01", "closed": True}]
    saturday = date(2026, 11, 7) + timedelta(days=7 * rng.randrange(8))
    return [*days, {"on": saturday.isoformat(), "from": "09:00", "to": "13:00"}]


def _panel(rng: random.Random, i: int, painters: list[str], shows: list[date], palettes: list[str]) -> dict[str, Any]:
    count = rng.choice((5, 6, 7, 7, 8, 8, 9))
    own = rng.sample(palettes, 3)
    hand = [rng.choice(painters)] if rng.random() < 0.8 else list(painters)
    sittings = [_sitting(rng, f"s{i}-{n}", rng.choice(own), hand) for n in range(count)]
    alone = TODAY + timedelta(days=rng.randrange(LEAD_D, (shows[-1] - TODAY).days))
    due = rng.choice(shows) if rng.random() < 0.5 else alone
    panel = {
        "id": f"panel {i}",
        "size": rng.choice((1, 1, 1, 2)),
        "weight": rng.choice((1, 1, 2, 3, 5)),
        "release_on": (TODAY + timedelta(days=rng.choice((0, 0, 0, rng.randrange(40))))).isoformat(),
        "final_wait_reference_d": rng.choice(WAITS),
        "final_handling_d": rng.choice((0, 1, 3)),
        "sittings": sittings,
        "links": _links(rng, [s["id"] for s in sittings]),
    }
    return panel | ({"due_on": due.isoformat()} if rng.random() < 0.8 else {})


def _sitting(rng: random.Random, name: str, palette: str, hand: list[str]) -> dict[str, Any]:
    p50 = round(rng.uniform(1.5, 6.0), 1)
    return {
        "id": name,
        "minutes": rng.choice(MINUTES),
        "palette": palette,
        "painters": hand,
        "drying_reference_d": {"p50": p50, "p90": round(p50 * rng.uniform(1.25, 1.6), 1)},
        "rack_reference_d": round(0.8 * p50, 1),
    }


def _links(rng: random.Random, ids: list[str]) -> list[dict[str, Any]]:
    kinds = ["dry"] * (len(ids) - 1)
    if rng.random() < 0.12:
        kinds[rng.randrange(len(kinds))] = "wet_in_wet"
    if rng.random() < 0.08:
        kinds[rng.randrange(len(kinds))] = "tacky"
    links = [_link(a, b, kind) for a, b, kind in zip(ids, ids[1:], kinds, strict=False)]
    if rng.random() < 0.1 and kinds[1] == "dry":  # the second sitting is of another support, joined at the third
        links[0] = _link(ids[0], ids[2], "dry")
    return links


def _link(a: str, b: str, kind: str) -> dict[str, Any]:
    limits: dict[str, dict[str, float]] = {
        "dry": {},
        "wet_in_wet": {"within_reference_d": 2.5},
        "tacky": {"after_reference_d": 1.0, "within_reference_d": 6.0},
    }
    return {"from": a, "to": b, "kind": kind, **limits[kind]}
