"""How fast layers are estimated: all at once against one by one, over the same model."""

from functools import partial

import numpy as np

from bench.timing import cpu_s, row
from server.science.drying import Kinetics, climate, stage_times
from server.science.estimate import estimate, estimate_many
from server.science.films import gather
from server.science.recipe import (
    Addition,
    AdditionKind,
    Ground,
    LayerRecipe,
    MixRecipe,
    Paint,
    PigmentShare,
    Room,
    RoomStep,
    RoomSteps,
)

COUNT = 4000
HOURLY_COUNT = 200
HOURS = 8760
LOOP_COUNT = 50
LOOP_DRAWS = 200
PIGMENTS = (("PW6", None), ("PBr7", "raw umber"), ("PBk9", None), ("PR108", None), ("PB29", None), ("PW1", None))


def layer(i: int) -> LayerRecipe:
    """The i-th of a series of layers that all differ."""
    first, second = PIGMENTS[i % len(PIGMENTS)], PIGMENTS[(i // 6 + 1) % len(PIGMENTS)]
    paints = (
        Paint(parts=9.0, oil="linseed", pigments=(PigmentShare(*first),)),
        Paint(parts=1.0 + i % 5, oil="linseed", pigments=(PigmentShare(*second),)),
    )
    oil = Addition(AdditionKind.OIL, parts=0.1 + (i % 11) / 10, oil="linseed")
    return LayerRecipe(20.0 + i % 97, Ground.PAINT, (MixRecipe("mix", 1.0, paints, (oil,)),))


def constant_room(i: int) -> Room:
    return Room((RoomStep(0.0, 14.0 + i % 13, 40.0 + i % 31),), measured=True)


def monthly_room(i: int) -> Room:
    steps = tuple(RoomStep(30.4 * month, 14.0 + (i + month) % 12, 45.0 + month % 12) for month in range(36))
    return Room(steps, measured=True)


def hourly_room(i: int) -> Room:
    """A year of readings by the hour: seasons, days and nights, and some noise of its own."""
    days = np.arange(HOURS) / 24
    noise = np.random.default_rng(i).normal(0, 0.5, (2, HOURS))
    season, night = np.sin(2 * np.pi * (days + 7 * i) / 365), np.sin(2 * np.pi * days)
    damp = np.clip(55 + 15 * season + 5 * night + 4 * noise[1], 5, 98)
    return Room(RoomSteps.of(days, 16 + 5 * season + 2 * night + noise[0], damp), measured=True)


def one_by_one(pairs: list[tuple[LayerRecipe, Room]]) -> None:
    for recipe, room in pairs:
        estimate(recipe, room)


def plain_loop(pairs: list[tuple[LayerRecipe, Room]], draws: int) -> None:
    """What the percentiles would cost in a plain loop: so many draws of the closed form, each by itself."""
    rng = np.random.default_rng(1)
    for recipe, room in pairs:
        film, step = gather([(recipe, room)]).film(), room.steps[0]
        here = climate(step.temperature_c, step.relative_humidity_pct, room.light)
        for _ in range(draws):
            t0, front = rng.lognormal(np.log(4.5), 0.35), rng.lognormal(np.log(400), 0.7)
            stage_times(film, here, Kinetics(t0, rng.normal(0.8, 0.2), rng.normal(0.5, 0.15), front))


def run() -> None:
    print("Estimates, with ranges (CPU, one core)")
    kinds = (
        ("one climate", constant_room, COUNT, 20_000),
        ("36 months", monthly_room, COUNT, 0),
        ("8,760 hours", hourly_room, HOURLY_COUNT, 1_000),
    )
    for name, room, count, target in kinds:
        pairs = [(layer(i), room(i)) for i in range(count)]
        estimate_many(pairs[:10])  # tables are read once
        together = count / cpu_s(partial(estimate_many, pairs), 5)
        row(f"{name}: together", f"{together:,.0f}/s", at_least(together, target) if target else "")
        few = pairs[: min(count, LOOP_COUNT)]
        apart = len(few) / cpu_s(partial(one_by_one, few), 2)
        row(f"{name}: together over one by one", f"{together / apart:.1f} x")
        if room is constant_room:
            drawn = 1 / cpu_s(partial(plain_loop, pairs[:1], LOOP_DRAWS), 2) * LOOP_DRAWS / 1_000
            row(f"{name}: together over a loop of 1,000 draws", f"{together / drawn:,.0f} x")


def at_least(figure: float, target: float) -> str:
    return f"target {target:,.0f}: {'met' if figure >= target else 'MISSED'}"
