"""Groups of pigments that the rules ask for, drawn from the pigment table."""

from functools import cache, lru_cache

from server.science import reference
from server.science.errors import InputError

ZINC_OXIDE = frozenset({"PW4"})
NEVER_HARDENING = frozenset({"NBr6"})  # bitumen
SLOW_CLASSES = frozenset({"retarder", "strong_retarder"})
QUICK_CLASSES = frozenset({"accelerator", "strong_accelerator"})
TOXIC_DUST = ("lead", "cadmium", "cobalt", "chromate")
# Dark and earthy grounds that conservators call stiff; the list is from memory.
STIFF_GROUND = ("PBr", "PBk", "PR101", "PR102", "PY42", "PY43")


@lru_cache(maxsize=1024)
def key_of(ci_name: str, variant: str | None) -> str:
    """The table's key of a pigment, "PW6" or "PBr7/raw umber"; the name itself where the table does not know it."""
    try:
        return reference.find_pigment(ci_name, variant).key
    except InputError:
        return ci_name


@cache
def slow() -> frozenset[str]:
    return frozenset(row.key for row in reference.pigments() if row.drying_class in SLOW_CLASSES)


@cache
def quick() -> frozenset[str]:
    return frozenset(row.key for row in reference.pigments() if row.drying_class in QUICK_CLASSES)


@cache
def lead_or_manganese() -> frozenset[str]:
    """Pigments whose metal hastens the oil as a through drier or strongly: lead colours and umbers."""
    return frozenset(row.key for row in reference.pigments() if "lead" in row.hazard or "manganese" in row.hazard)


@cache
def toxic_dust() -> dict[str, str]:
    """Pigments whose dust is a known hazard, by key, with the words of the table."""
    rows = reference.pigments()
    return {row.key: row.hazard for row in rows if any(word in row.hazard.lower() for word in TOXIC_DUST)}
