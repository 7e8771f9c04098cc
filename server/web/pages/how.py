"""How we get these dates: every figure the calculations rest on, with its spread, its source and how sure it is."""

from dataclasses import dataclass
from math import exp

from fastapi import APIRouter
from starlette.responses import Response

from server.science import reference
from server.science.reference import Parameter
from server.services.shelf import DRYING_WORDS
from server.web.deps import Page
from server.web.words import figure

router = APIRouter()


@dataclass(frozen=True, slots=True)
class ParameterShown:
    """A parameter of the model with its spread in words."""

    row: Parameter
    spread: str


@dataclass(frozen=True, slots=True)
class Miss:
    """A published value that the model does not reproduce. ``check``: its number among the published checks."""

    check: int
    what: str
    low: float
    high: float
    unit: str
    model: float
    why: str


# Held against the published checks by a test: a miss that heals, or a new one, must be told here.
KNOWN_MISSES = (
    Miss(27, "Linseed with a tenth of a per cent of lead oxide", 16, 21, "days", 24.608, "less steep at small doses"),
    Miss(41, "Heavy stand oil with drier, 124 µm, firm", 38, 120, "days", 27.007, "such a film stays tacky longer"),
    Miss(54, "One hand-mulled swatch of lapis", 1.5, 2.2, "days", 3.182, "a single swatch"),
    Miss(55, "One hand-mulled swatch of vermilion", 0.7, 1.2, "days", 3.818, "a single swatch"),
    Miss(56, "One hand-mulled swatch of minium", 1.4, 2.2, "days", 1.273, "a single swatch"),
)
PUBLISHED_CHECKS = 44
NOT_FOUND = (
    "A published law of numbers for humidity.",
    "Touch-drying times measured against wet thickness for artists' paint.",
    "A published law for mixtures of pigments: the sums over their shares are ours.",
    "The share of oil that an absorbent ground takes up.",
    "The drying-time limit of the standard for artists' oil paint: it could not be read, so no number stands for it.",
)


def spread_words(row: Parameter) -> str:
    """A prior spread of one standard deviation in words: a factor, or plus and minus."""
    if row.spread_kind == "ln" and row.spread:
        return f"a factor of {figure(exp(row.spread))} either way"
    if row.spread_kind == "absolute" and row.spread:
        return f"± {figure(row.spread)}"
    return "none"


@router.get("/how")
def how(page: Page) -> Response:
    sources = reference.sources()
    return page.render(
        "how/page.html",
        {
            "parameters": [ParameterShown(row, spread_words(row)) for row in reference.parameters()],
            "pigments": reference.pigments(),
            "drying_words": DRYING_WORDS,
            "oils": reference.oils(),
            "solvents": reference.solvents(),
            "grounds": reference.grounds(),
            "lights": reference.lights(),
            "presets": reference.thickness_presets(),
            "confidence": sources["confidence"],
            "sources": sources["sources"],
            "misses": KNOWN_MISSES,
            "checks": PUBLISHED_CHECKS,
            "not_found": NOT_FOUND,
        },
    )
