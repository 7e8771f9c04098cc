"""How fast layers are estimated: all at once against one by one, over the same model."""

from functools import partial

from bench.timing import cpu_s, row
from server.science.estimate import estimate, estimate_many
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
)

COUNT = 1000
LOOP_COUNT = 100
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


def one_by_one(pairs: list[tuple[LayerRecipe, Room]]) -> None:
    for recipe, room in pairs:
        estimate(recipe, room)


def run() -> None:
    print("Estimates, with ranges (CPU, one core)")
    for name, room in (("one climate", constant_room), ("36 months", monthly_room)):
        pairs = [(layer(i), room(i)) for i in range(COUNT)]
        estimate_many(pairs[:10])  # tables are read once
        together = COUNT / cpu_s(partial(estimate_many, pairs), 3)
        apart = LOOP_COUNT / cpu_s(partial(one_by_one, pairs[:LOOP_COUNT]), 3)
        row(f"{name}: together", f"{together:,.0f}/s")
        row(f"{name}: one by one", f"{apart:,.0f}/s")
        row(f"{name}: together over one by one", f"{together / apart:.1f} x")
