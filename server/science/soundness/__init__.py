"""Soundness: may this go over that, today, and what to change if not.

``check`` answers one ``Situation`` with a ``Verdict``. ``RULES`` are the rules themselves, ``thresholds`` their limits.
"""

from server.science.soundness.check import check, is_stopped, order_of, worst_of
from server.science.soundness.remedies import at_date, changed_layer, later, with_remedy, with_way
from server.science.soundness.rule import Fault, Rule
from server.science.soundness.rules import FAMILIES, RULES, Family
from server.science.soundness.sources import SOURCES, Source
from server.science.soundness.thresholds import DEFAULT, ROWS, ROWS_BY_NAME, ThresholdRow, Thresholds
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
    SwabTest,
    Verdict,
    Way,
)

__all__ = [
    "DEFAULT",
    "FAMILIES",
    "ROWS",
    "ROWS_BY_NAME",
    "RULES",
    "SOURCES",
    "Action",
    "Basis",
    "Family",
    "Fault",
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
    "SwabTest",
    "ThresholdRow",
    "Thresholds",
    "Verdict",
    "Way",
    "at_date",
    "changed_layer",
    "check",
    "is_stopped",
    "later",
    "order_of",
    "with_remedy",
    "with_way",
    "worst_of",
]
