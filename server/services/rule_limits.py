"""The limits of the soundness rules: the defaults, and those that a studio sets for itself.

A studio's edit is one row by name. Going back to the default archives that row, so that the history can bring the edit
back and a name never has two rows.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

from pydantic import Field
from sqlalchemy import select
from sqlmodel import Session, col

from server.science.soundness import DEFAULT, ROWS, ROWS_BY_NAME, RULES, Basis, ThresholdRow, Thresholds
from server.services.access import Actor, allow
from server.services.errors import FieldError, Invalid, NotFound, Refused
from server.services.fields import Command, Text64, Version
from server.services.records import conflict
from server.services.unit import moment
from server.store.tables import RuleLimit, Studio

Edits = tuple[tuple[str, float], ...]
"""A studio's own limits by name, in the order of the names; a short key that stands for all of its thresholds."""

NO_EDITS: Edits = ()
RULE_IDS = tuple(dict.fromkeys(rule.id for rule in RULES))


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit as the studio has it: ``value`` holds, ``low`` to ``high`` may be set, ``rules`` are those that look
    at it. ``unit`` is "1" for a ratio or a share."""

    name: str
    value: float
    default: float
    unit: str
    low: float
    high: float
    meaning: str
    basis: Basis
    rules: tuple[str, ...]

    @property
    def is_edited(self) -> bool:
        return self.value != self.default


@dataclass(frozen=True, slots=True)
class LimitChange:
    """What a limit was and what it is now."""

    name: str
    meaning: str
    before: float
    after: float


class LimitValue(Command):
    """``value`` None: the default."""

    name: Text64
    value: float | None = None


class LimitsUpdate(Command):
    """Limits of one rule; ``version`` is the one that ``of_rule`` told."""

    limits: Annotated[list[LimitValue], Field(min_length=1, max_length=100)]
    version: Version


def edits_of(session: Session, studio_id: int) -> Edits:
    """The studio's own limits, in one query. What this version of the program would refuse does not count."""
    query = select(col(RuleLimit.name), col(RuleLimit.value)).where(
        col(RuleLimit.studio_id) == studio_id, col(RuleLimit.archived_at).is_(None)
    )
    return _usable({row.name: row.value for row in session.execute(query)})


@lru_cache(maxsize=64)
def thresholds_of(edits: Edits) -> Thresholds:
    """The thresholds of a studio with these edits."""
    return DEFAULT.edited(dict(edits)) if edits else DEFAULT


def all_limits(session: Session, actor: Actor) -> tuple[Limit, ...]:
    """Every limit, in the order of the table."""
    allow(actor, "read", None)
    edits = dict(edits_of(session, actor.studio_id))
    return tuple(_limit(row, edits) for row in ROWS)


def of_rule(session: Session, actor: Actor, rule_id: str) -> tuple[tuple[Limit, ...], int]:
    """The limits a rule looks at, and their version for an update. Raises ``NotFound``."""
    names = _names_of(rule_id)
    rows = _rows(session, actor)
    edits = dict(_usable(_open_values(rows)))
    return tuple(_limit(ROWS_BY_NAME[name], edits) for name in names), _version(rows, names)


def update(session: Session, actor: Actor, rule_id: str, command: LimitsUpdate) -> tuple[LimitChange, ...]:
    """Set limits of a rule. Raises ``NotFound``, ``Invalid`` at ``limits.0.value`` and so on, ``Conflict``."""
    names = _names_of(rule_id)
    rows = _locked_rows(session, actor)
    before = dict(_usable(_open_values(rows)))
    wanted = _wanted(command, names)
    if command.version != (version := _version(rows, names)):
        stored = [LimitValue.model_construct(name=name, value=before.get(name, _default(name))) for name in wanted]
        sent = [LimitValue.model_construct(name=name, value=value) for name, value in wanted.items()]
        fault = conflict(
            LimitsUpdate.model_construct(limits=sent, version=command.version),
            LimitsUpdate.model_construct(limits=stored, version=version),
            "these limits",
        )
        if fault.fields:
            raise fault
    after = {name: value for name, value in (before | wanted).items() if value != _default(name)}
    _check_order(before, after, list(wanted))
    return _store(session, actor, rows, (before, after))


def set_one(session: Session, actor: Actor, name: str, value: float) -> tuple[LimitChange, ...]:
    """Set one limit, whatever it is now. Raises ``NotFound`` for an unknown name, ``Invalid`` at ``limits.0.value``."""
    row = ROWS_BY_NAME.get(name)
    if row is None:
        raise NotFound
    rows = _locked_rows(session, actor)
    command = LimitsUpdate(limits=[LimitValue(name=name, value=value)], version=_version(rows, _names_of(row.rules[0])))
    return update(session, actor, row.rules[0], command)


def reset_one(session: Session, actor: Actor, name: str) -> tuple[LimitChange, ...]:
    """Put one limit back to its default. Raises ``NotFound``, and ``Refused`` where it would pass another limit."""
    if name not in ROWS_BY_NAME:
        raise NotFound
    rows = _locked_rows(session, actor)
    before = dict(_usable(_open_values(rows)))
    after = {other: value for other, value in before.items() if other != name}
    for lesser, greater in _out_of_order(after):
        other = greater if lesser == name else lesser
        raise Refused(
            f"This cannot go back to {_default(name):g} alone, because of “{ROWS_BY_NAME[other].meaning}”: "
            f"{before.get(other, _default(other)):g}. Put that one back first, or all of them."
        )
    return _store(session, actor, rows, (before, after))


def reset_all(session: Session, actor: Actor) -> tuple[LimitChange, ...]:
    """Put every limit back to its default. Doing it twice is the same as once."""
    rows = _locked_rows(session, actor)
    return _store(session, actor, rows, (dict(_usable(_open_values(rows))), {}))


def problem(session: Session, studio_id: int) -> str | None:
    """Why the studio's limits as they are stored make no sense together, in plain words; None when they do."""
    query = select(RuleLimit).where(col(RuleLimit.studio_id) == studio_id)
    for lesser, greater in _out_of_order(_in_bounds(_open_values(session.scalars(query)))):
        return f"“{ROWS_BY_NAME[lesser].meaning}” would be more than “{ROWS_BY_NAME[greater].meaning}”."
    return None


def _names_of(rule_id: str) -> tuple[str, ...]:
    if rule_id not in RULE_IDS:
        raise NotFound
    # Those that fewer rules look at first: they are the rule's own.
    return tuple(row.name for row in sorted(ROWS, key=lambda row: len(row.rules)) if rule_id in row.rules)


def _default(name: str) -> float:
    return ROWS_BY_NAME[name].value


def _limit(row: ThresholdRow, edits: Mapping[str, float]) -> Limit:
    value = edits.get(row.name, row.value)
    return Limit(row.name, value, row.value, row.unit, row.low, row.high, row.meaning, row.basis, row.rules)


def _rows(session: Session, actor: Actor) -> list[RuleLimit]:
    allow(actor, "read", None)
    query = select(RuleLimit).where(col(RuleLimit.studio_id) == actor.studio_id).order_by(col(RuleLimit.id))
    return list(session.scalars(query))


def _locked_rows(session: Session, actor: Actor) -> list[RuleLimit]:
    """The same, while nobody else can set limits: a limit without a row yet has none that could be locked."""
    allow(actor, "update", None, RuleLimit)
    session.scalars(select(col(Studio.id)).where(col(Studio.id) == actor.studio_id).with_for_update()).one()
    query = select(RuleLimit).where(col(RuleLimit.studio_id) == actor.studio_id).order_by(col(RuleLimit.id))
    return list(session.scalars(query.execution_options(populate_existing=True)))


def _version(rows: Iterable[RuleLimit], names: Sequence[str]) -> int:
    """Grows with every change of one of these limits, since rows never go and their versions only grow."""
    return 1 + sum(row.version for row in rows if row.name in names)


def _open_values(rows: Iterable[RuleLimit]) -> dict[str, float]:
    return {row.name: row.value for row in rows if row.archived_at is None}


def _in_bounds(values: Mapping[str, float]) -> dict[str, float]:
    return {
        name: value
        for name, value in values.items()
        if name in ROWS_BY_NAME and ROWS_BY_NAME[name].low <= value <= ROWS_BY_NAME[name].high
    }


def _usable(values: Mapping[str, float]) -> Edits:
    kept = {name: value for name, value in _in_bounds(values).items() if value != _default(name)}
    while pairs := _out_of_order(kept):
        kept = {name: value for name, value in kept.items() if all(name not in pair for pair in pairs)}
    return tuple(sorted(kept.items()))


def _out_of_order(values: Mapping[str, float]) -> list[tuple[str, str]]:
    return Thresholds(**{row.name: values.get(row.name, row.value) for row in ROWS}).out_of_order()


def _wanted(command: LimitsUpdate, names: Sequence[str]) -> dict[str, float]:
    """The values asked for by name, the default where none was given. Raises ``Invalid``."""
    wanted: dict[str, float] = {}
    faults = []
    for place, item in enumerate(command.limits):
        if item.name not in names or item.name in wanted:
            faults.append(FieldError("", f"This form sent a limit that this rule does not have: {item.name}."))
            continue
        row = ROWS_BY_NAME[item.name]
        wanted[item.name] = row.value if item.value is None else item.value
        if not row.low <= wanted[item.name] <= row.high:
            faults.append(FieldError(f"limits.{place}.value", f"Give a number from {row.low:g} to {row.high:g}."))
    if faults:
        raise Invalid(faults)
    return wanted


def _check_order(before: Mapping[str, float], after: Mapping[str, float], names: Sequence[str]) -> None:
    """Raises ``Invalid`` at the one of two fields that was changed so that they make no sense together."""
    faults = []
    for pair in _out_of_order(after):
        changed = [name for name in pair if before.get(name) != after.get(name)]
        name = changed[0] if changed else pair[0]
        other, than = (pair[1], "more") if name == pair[0] else (pair[0], "less")
        text = f"This must not be {than} than “{ROWS_BY_NAME[other].meaning}”: {after.get(other, _default(other)):g}."
        faults.append(FieldError(f"limits.{names.index(name)}.value" if name in names else "", text))
    if faults:
        raise Invalid(faults)


def _store(
    session: Session, actor: Actor, rows: Sequence[RuleLimit], values: tuple[Mapping[str, float], Mapping[str, float]]
) -> tuple[LimitChange, ...]:
    """Write what differs between the values before and after; answer it in the order of the table."""
    before, after = values
    by_name = {row.name: row for row in rows}
    changes = []
    for row in ROWS:
        name = row.name
        change = LimitChange(name, row.meaning, before.get(name, row.value), after.get(name, row.value))
        record = by_name.get(name)
        if name in after:
            if record is None:
                session.add(RuleLimit(studio_id=actor.studio_id, name=name, value=after[name]))
            else:
                record.value, record.archived_at = after[name], None
        elif record is not None and record.archived_at is None:
            record.archived_at = moment(session)
        if change.before != change.after:
            changes.append(change)
    session.flush()
    return tuple(changes)
