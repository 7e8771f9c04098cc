"""Going on against the rules: what they said when it was done, and why it was done all the same.

A stop wants a reason; a caution takes one; without either nothing is asked and nothing is kept but the verdict.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from server.science.soundness.types import Finding, Severity, Verdict
from server.services.access import Actor
from server.services.board.films import panel_layers
from server.services.board.panel_view import over_when_painted
from server.services.board.rows import load
from server.services.board.today import moment_at
from server.services.errors import Invalid
from server.services.records import find
from server.services.stack import Stack
from server.store.tables import FinishStep, Layer, Panel

FIELD = "override_reason"
ASKS = frozenset({Severity.STOP})
TAKES = frozenset({Severity.STOP, Severity.CAUTION})


@dataclass(frozen=True, slots=True)
class FrozenFinding:
    """One finding as it was told then."""

    rule: str
    severity: str
    title: str
    reason: str
    helps: str


@dataclass(frozen=True, slots=True)
class FrozenVerdict:
    """What the rules said when something was done; ``findings`` worst first."""

    verdict: str
    findings: tuple[FrozenFinding, ...]


def keep(record: Layer | FinishStep, verdict: Verdict | None, reason: str) -> None:
    """Put the verdict as it stands, and the reason where one has a place, with what is being done.

    Raises ``Invalid`` at ``override_reason`` when a rule stops it and no reason is given.
    """
    severity = Severity.SOUND if verdict is None else verdict.verdict
    if verdict is not None and severity in ASKS and not reason:
        raise Invalid.at(FIELD, f"{stops_in_words(verdict)} Say in a few words why you do it all the same.")
    record.verdict_json = None if verdict is None else to_json(verdict)
    record.override_reason = reason if severity in TAKES else ""


def forget(record: Layer | FinishStep) -> None:
    """It is not done any more."""
    record.verdict_json = None
    record.override_reason = ""


def corrected(record: Layer | FinishStep, reason: str) -> str:
    """The reason after a correction. Raises ``Invalid`` when it would leave a stop without any."""
    found = from_json(record.verdict_json)
    if found is None or Severity(found.verdict) not in TAKES:
        return ""
    if Severity(found.verdict) in ASKS and not reason:
        raise Invalid.at(FIELD, "A rule stopped this when it was done: the reason stays on record. Change its words.")
    return reason


def stops_in_words(verdict: Verdict) -> str:
    """``A rule says stop: Touch-dry first (R03).``"""
    stops = [finding for finding in verdict.findings if finding.severity is Severity.STOP]
    named = ", ".join(f"{finding.title} ({finding.rule})" for finding in stops)
    return f"{'A rule says' if len(stops) == 1 else 'Rules say'} stop: {named}."


def on_panel(session: Session, actor: Actor, panel_uid: str) -> dict[str, tuple[FrozenVerdict, str]]:
    """The layers of a panel that went on against the rules, by uid: what was said then, and why they went on."""
    panel = find(session, actor, Panel, panel_uid)
    query = select(Layer).where(col(Layer.panel_id) == panel.id, col(Layer.override_reason) != "")
    kept = ((layer.uid, from_json(layer.verdict_json), layer.override_reason) for layer in session.scalars(query))
    return {uid: (verdict, reason) for uid, verdict, reason in kept if verdict is not None}


def of_layer(session: Session, actor: Actor, pile: Stack, layer: Layer) -> Verdict | None:
    """What the rules say of a layer over what lay below, at the time it went on; it stands in the session as painted.

    None where they cannot be asked: nobody knows what it is made of.
    """
    assert layer.painted_at is not None
    rows = load(session, actor, pile.panel.uid)
    if rows is None:
        return None
    moment = moment_at(layer.painted_at, pile.zone)
    [layers] = panel_layers(rows, moment)
    numbers = [number for number, on in enumerate(layers.on) if on.row.id == layer.id]
    return over_when_painted(numbers[0], layers, rows, moment) if numbers else None


def to_json(verdict: Verdict) -> dict[str, Any]:
    """The verdict as plain JSON, for keeping."""
    return {"verdict": verdict.verdict.value, "findings": [_finding(finding) for finding in verdict.findings]}


def _finding(finding: Finding) -> dict[str, str]:
    return {
        "rule": finding.rule,
        "severity": finding.severity.value,
        "title": finding.title,
        "reason": finding.reason,
        "helps": finding.remedy.text if finding.remedy else "",
    }


def from_json(kept: Mapping[str, Any] | None) -> FrozenVerdict | None:
    """The inverse of `to_json`; None for nothing."""
    if kept is None:
        return None
    return FrozenVerdict(kept["verdict"], tuple(FrozenFinding(**finding) for finding in kept["findings"]))
