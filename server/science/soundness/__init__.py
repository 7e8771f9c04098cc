"""Soundness: may this go over that, today, and what to change if not.

``check`` answers one ``Situation`` with a ``Verdict``. ``RULES`` are the rules themselves, ``thresholds`` their limits.
"""

from server.science.soundness.check import check, worst_of
from server.science.soundness.remedies import at_date, later, with_remedy
from server.science.soundness.rule import Rule
from server.science.soundness.rules import RULES
from server.science.soundness.sources import SOURCES, Source
from server.science.soundness.thresholds import DEFAULT, ROWS, ThresholdRow, Thresholds
from server.science.soundness.types import (
    Action,
    Basis,
    Finding,
    GroundFacts,
    Material,
    MixChange,
    NewLayer,
    PaintedLayer,
    Remedy,
    Severity,
    Situation,
    Verdict,
)

__all__ = [
    "DEFAULT",
    "ROWS",
    "RULES",
    "SOURCES",
    "Action",
    "Basis",
    "Finding",
    "GroundFacts",
    "Material",
    "MixChange",
    "NewLayer",
    "PaintedLayer",
    "Remedy",
    "Rule",
    "Severity",
    "Situation",
    "Source",
    "ThresholdRow",
    "Thresholds",
    "Verdict",
    "at_date",
    "check",
    "later",
    "with_remedy",
    "worst_of",
]
