"""The rules, by number and in families to read them in. A new file of rules is one more name here."""

from dataclasses import dataclass
from types import ModuleType

from server.science.soundness.rule import Rule
from server.science.soundness.rules import (
    additive,
    between,
    couch,
    fat,
    finish,
    ground,
    slow,
    speed,
    thick,
    thinner,
    touch,
    water,
    zinc,
)


@dataclass(frozen=True, slots=True)
class Family:
    """Rules that belong together, in the order of their numbers."""

    title: str
    rules: tuple[Rule, ...]


def _of(*files: ModuleType) -> tuple[Rule, ...]:
    found = [item for file in files for item in vars(file).values() if isinstance(item, Rule)]
    return tuple(sorted(found, key=lambda item: item.id))


FAMILIES: tuple[Family, ...] = (
    Family("Fat, lean, quick and slow", _of(fat, speed, slow)),
    Family("Dry enough, and not too thick", _of(touch, thick)),
    Family("What is in the paint", _of(thinner, additive, zinc, couch)),
    Family("What it lies on", _of(ground, between, water)),
    Family("After the last layer", _of(finish)),
)
RULES = tuple(sorted((item for family in FAMILIES for item in family.rules), key=lambda item: item.id))
