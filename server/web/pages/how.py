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
    """Where the model and what was published part ways."""

    what: str
    told: str


# What the model does not reproduce of the published drying times that could be compared.
KNOWN_MISSES = (
    Miss("Blown linseed oil", "Its gain of mass is missed by a hair."),
    Miss("Half a per cent of lead oxide in linseed", "Missed by a hair."),
    Miss("Very little lead", "The law for lead is too steep at its lower end."),
    Miss("Lead together with manganese", "Two published films dried at another speed than the fastest metal, slowed."),
    Miss("Heavy stand oil, 124 µm thick", "The model says about 26 days, published are more than 38."),
    Miss("Soya oil with drier", "It dried at another speed than its drying index tells."),
    Miss("Single hand-mulled swatches", "Three of one series: one swatch each, with no repeat to tell chance apart."),
)
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
            "not_found": NOT_FOUND,
        },
    )
