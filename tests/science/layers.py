"""Short ways to write layers and rooms in tests."""

from typing import Any

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


def paint(parts: float, *pigments: str, oil: str = "linseed", own: dict[str, Any] | None = None) -> Paint:
    """Tube paint of equal volumes of pigments, ``PBr7/raw umber`` for a variant; ``own`` are its own figures."""
    shares = []
    for key in pigments:
        name, _, variant = key.partition("/")
        shares.append(PigmentShare(name, variant or None, 1 / len(pigments)))
    return Paint(parts, oil, tuple(shares), **(own or {}))


def oil(parts: float, name: str = "linseed") -> Addition:
    return Addition(AdditionKind.OIL, parts, oil=name)


def solvent(parts: float, name: str = "mineral_spirits") -> Addition:
    return Addition(AdditionKind.SOLVENT, parts, solvent=name)


def alkyd(parts: float, non_volatile: float = 0.5) -> Addition:
    return Addition(AdditionKind.ALKYD_MEDIUM, parts, non_volatile=non_volatile)


def drier(metal: str, percent_on_oil: float) -> Addition:
    return Addition(AdditionKind.DRIER, metal=metal, percent_on_oil=percent_on_oil)


def mix(*parts: Paint | Addition, name: str = "mix", area_share: float = 1.0) -> MixRecipe:
    """A mix of paints and additions in any order."""
    paints = tuple(p for p in parts if isinstance(p, Paint))
    additions = tuple(p for p in parts if isinstance(p, Addition))
    return MixRecipe(name, area_share, paints, additions)


def layer(wet_um: float, *mixes: MixRecipe, ground: Ground = Ground.SEALED) -> LayerRecipe:
    return LayerRecipe(wet_um, ground, mixes)


def room(
    temperature_c: float = 21.0, humidity_pct: float = 50.0, light: float | None = None, measured: bool = True
) -> Room:
    """A room that stays; ``light`` as a number takes its spread away."""
    steps = (RoomStep(0.0, temperature_c, humidity_pct),)
    return Room(steps, 1.0 if light is None else light, light is not None, measured)


def changing(*steps: tuple[float, float, float], light: float = 1.0, measured: bool = True) -> Room:
    """A room of (from day, temperature, humidity) steps."""
    return Room(tuple(RoomStep(*step) for step in steps), light, False, measured)
