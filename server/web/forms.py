"""Forms: what was posted becomes a command, or the same form again with every typed value and the fault at its field.

Names of fields follow the command: ``title``; ``parts-0-kind`` for a row of a list of models (numbers may have gaps,
rows left empty do not count); ``place-name`` for a model within a model. A page does::

    command, form = parse(posted, PanelCreate, zone=page.zone)
    if command is None:
        return page.render("panels/new.html", {"form": form}, status=422)
    try: ...
    except Invalid as fault:   form.add_errors(fault.errors)      -> 422
    except Conflict as fault:  form.add_conflict(fault.current, fault.message)   -> 409
"""

import hashlib
import re
import secrets
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import timezone, tzinfo
from typing import Any, Protocol, TypeVar

from pydantic import BaseModel, ValidationError
from starlette.datastructures import FormData

from server.web import plain_words
from server.web.form_values import (
    REPLACED,
    Unreadable,
    alternatives,
    clean_text,
    flatten,
    is_choice,
    item_type,
    model_type,
    read,
)
from server.web.manner import unit_of_field

MAX_ROWS = 200
COMMAND_KEY = "command_key"
_KEY = re.compile(r"[A-Za-z0-9_-]{8,64}")
Command = TypeVar("Command", bound=BaseModel)


class FaultAtField(Protocol):
    """What a service says of one field; ``field`` may be written with dots, ``parts.0.kind``."""

    @property
    def field(self) -> str: ...

    @property
    def message(self) -> str: ...


def new_key() -> str:
    """A random key that makes one filling-in of a form one change, however often it is sent."""
    return secrets.token_urlsafe(12)


def command_key(form: FormData) -> str | None:
    """The key a form was sent with; None when it is missing or not of our making."""
    given = form.get(COMMAND_KEY)
    return given if isinstance(given, str) and _KEY.fullmatch(given) else None


def key_of_sending(address: str, form: FormData) -> str | None:
    """The key of one sending: the form's own with where it went and what it held, None for a form without a key.

    A form that a browser brings back ("back", then other words, then Save) has the key it had, but is another change
    once it says something else; under the form's key alone it would be taken for the first and be lost.
    """
    key = command_key(form)
    if key is None:
        return None
    told = repr((key, address, [(name, value) for name, value in form.multi_items() if name != COMMAND_KEY]))
    return hashlib.sha256(told.encode("utf-8", "backslashreplace")).hexdigest()


@dataclass(slots=True)
class FormState:
    """A form as it is shown.

    ``values``: text by field name, as typed. ``errors``: message by field name; the name "" is the whole form.
    ``theirs``: after a conflict, what is stored now, by field name. ``row_numbers``: for each list, which row of the
    form became which item, to find the field of a fault. ``command_key`` stays the same until the form succeeds.
    """

    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    theirs: dict[str, str] = field(default_factory=dict)
    row_numbers: dict[str, list[int]] = field(default_factory=dict)
    spare_rows: dict[str, set[int]] = field(default_factory=dict)
    many: dict[str, list[str]] = field(default_factory=dict)
    command_key: str = field(default_factory=new_key)

    @classmethod
    def of(cls, record: Any, zone: tzinfo = timezone.utc) -> "FormState":
        """The form filled in from a record, a command or a mapping; times are shown in ``zone``."""
        return cls(values=flatten(record, zone))

    def value(self, name: str, default: str = "") -> str:
        return self.values.get(name, default)

    def error(self, name: str) -> str:
        return self.errors.get(name, "")

    def is_ticked(self, name: str, choice: str = "") -> bool:
        """Whether a box is ticked; ``choice`` is the box's value where several share a name."""
        return choice in self.many.get(name, ()) if choice else bool(self.values.get(name))

    def stored(self, name: str) -> str | None:
        """After a conflict: what another edit left in this field, when it differs from what was typed here."""
        stored = self.theirs.get(name)
        return stored if stored is not None and stored != self.value(name) else None

    def stored_rows(self, name: str) -> list[list[str]]:
        """After a conflict: the texts of each line that is stored and that this form has no row for."""
        lines: dict[int, list[str]] = {}
        pattern = re.compile(rf"{re.escape(name)}-([0-9]{{1,4}})-")
        shown = set(self.rows(name)) if self.theirs else set()
        for given, text in self.theirs.items():
            if (found := pattern.match(given)) and int(found[1]) not in shown and text:
                is_percent = given.endswith(("_pct", "percent_on_oil"))
                lines.setdefault(int(found[1]), []).append(f"{text} %" if is_percent else text)
        return [lines[number] for number in sorted(lines)]

    def rows(self, name: str, least: int = 0) -> list[int]:
        """The numbers of a list's rows in order, with empty ones added until there are ``least``."""
        pattern = re.compile(rf"{re.escape(name)}-([0-9]{{1,4}})(-|$)")
        numbers = {int(found[1]) for given in self.values if (found := pattern.match(given))}
        ordered = sorted(numbers | self.spare_rows.get(name, set()))
        while len(ordered) < least:
            ordered.append(ordered[-1] + 1 if ordered else 0)
        return ordered

    def add_row(self, name: str) -> None:
        rows = self.rows(name)
        if len(rows) < MAX_ROWS:
            self.spare_rows.setdefault(name, set()).add(rows[-1] + 1 if rows else 0)

    def remove_row(self, name: str, number: int) -> None:
        stem = f"{name}-{number}"
        self.values = {n: v for n, v in self.values.items() if n != stem and not n.startswith(stem + "-")}
        self.spare_rows.get(name, set()).discard(number)

    def name_of(self, path: Iterable[str | int]) -> str:
        """The field's name for a place in the command: ("parts", 1, "kind") -> "parts-3-kind" when row 3 was item 1."""
        name = ""
        for part in path:
            step: str | int = part
            if isinstance(part, int) or part.isdigit():
                numbers = self.row_numbers.get(name, [])
                step = numbers[int(part)] if int(part) < len(numbers) else part
            name = f"{name}-{step}" if name else str(step)
        return name

    def add_error(self, name: str, message: str) -> None:
        self.errors.setdefault(name, message)

    def add_errors(self, faults: Iterable[FaultAtField]) -> None:
        """Faults that a service found, each put at its field."""
        for fault in faults:
            self.add_error(self.name_of(re.split(r"[.-]", fault.field)) if fault.field else "", fault.message)

    def add_conflict(self, current: Mapping[str, Any], message: str, zone: tzinfo = timezone.utc) -> None:
        """Somebody saved the record first: keep what was typed, show what is stored, and let a second save win."""
        self.theirs = flatten(current, zone)
        self.add_error("", message)
        if "version" in self.theirs:
            self.values["version"] = self.theirs.pop("version")


def edited_rows(form: FormData) -> FormState | None:
    """The form again with a row more or less when a button ``_add`` (value: list) or ``_remove`` (``list-number``)
    was pressed, which is how rows change without script; None when the form was sent to be saved."""
    added, removed = form.get("_add"), form.get("_remove")
    if not isinstance(added, str) and not isinstance(removed, str):
        return None
    state = _typed(form)
    if isinstance(added, str):
        state.add_row(added)
    elif isinstance(removed, str) and (found := re.fullmatch(r"([a-z_0-9-]+)-([0-9]{1,4})", removed)):
        state.remove_row(found[1], int(found[2]))
    return state


def parse(
    form: FormData, command: type[Command], *, zone: tzinfo = timezone.utc, quiet: Collection[str] = ()
) -> tuple[Command | None, FormState]:
    """The command a form holds, or None with the faults in the state.

    ``zone`` is the studio's, for times. ``quiet`` names fields that do not make a row count, such as a hidden number.
    """
    state = _typed(form)
    reader = _Reader(state, zone, frozenset(quiet))
    data = reader.model(command, "")
    for name in set(state.values) - reader.known:
        if not name.startswith("_") and name not in {COMMAND_KEY, "version"}:
            state.add_error("", f"This form sent a field that is not known here: {clean_text(name)[:60]}.")
    result: Command | None = None
    try:
        result = command.model_validate(data)
    except ValidationError as fault:
        faults = fault.errors(include_url=False, include_input=False)
        # Where a word or a number would do, the word's fault says more.
        for error in sorted(faults, key=lambda each: each["type"] == "float_parsing"):
            name = reader.field_of(state.name_of(error["loc"]))
            if not any(given == name or given.startswith(name + "-") for given in state.errors if name):
                is_unchosen = error["type"] == "missing" and name in reader.choices
                told = plain_words.CHOOSE if is_unchosen else plain_words.message_for(error, unit_of_field(name))
                state.add_error(name, told)
    return (None if state.errors else result), state


def _typed(form: FormData) -> FormState:
    """Everything that was typed, kept as it is but for characters that cannot be shown."""
    state = FormState(command_key=command_key(form) or new_key())
    for name, given in form.multi_items():
        if isinstance(given, str) and name != COMMAND_KEY:
            text = clean_text(given)
            state.values[clean_text(name)] = text
            state.many.setdefault(name, []).append(text)
    return state


class _Reader:
    """Walks a command's fields and collects their values from the form's texts."""

    def __init__(self, state: FormState, zone: tzinfo, quiet: frozenset[str]) -> None:
        self.state = state
        self.zone = zone
        self.quiet = quiet
        self.known: set[str] = set()
        self.choices: set[str] = set()

    def model(self, kind: type[BaseModel], prefix: str) -> dict[str, Any]:
        data: dict[str, Any] = {}
        for name, info in kind.model_fields.items():
            full = f"{prefix}-{name}" if prefix else name
            annotation = info.annotation
            item = item_type(annotation)
            if item is not None and model_type(item) is not None:
                data[name] = self.rows(item, full)
            elif item is not None:
                self.known.add(full)
                data[name] = [self.scalar(full, item, text) for text in self.state.many.get(full, []) if text.strip()]
            elif (inner := model_type(annotation)) is not None:
                values = self.model(inner, full)
                if values or type(None) not in alternatives(annotation):
                    data[name] = values
            else:
                self.known.add(full)
                if is_choice(annotation):
                    self.choices.add(full)
                self.field(data, name, full, annotation)
        return data

    def field(self, data: dict[str, Any], name: str, full: str, annotation: Any) -> None:
        text = self.state.values.get(full)
        kinds = alternatives(annotation)
        if text is None:  # the form does not have this field: the command's own default holds
            if bool in kinds:
                data[name] = False  # a box left unticked is not sent
            return
        if not text.strip():
            if type(None) in kinds:
                data[name] = None
            elif str in kinds:
                data[name] = ""
            return
        data[name] = self.scalar(full, annotation, text)

    def scalar(self, full: str, annotation: Any, text: str) -> Any:
        """The value, or the text itself with the fault noted at its field."""
        try:
            if REPLACED in text:
                raise Unreadable(plain_words.HIDDEN_CHARACTERS)
            value = read(text.strip(), annotation, self.zone)
            unit = unit_of_field(full) if isinstance(value, float) else None
            return value if unit is None else unit.stored(value)
        except Unreadable as fault:
            self.state.add_error(full, str(fault))
            return text

    def rows(self, kind: type[BaseModel], full: str) -> list[dict[str, Any]]:
        numbers = self.state.rows(full)
        if len(numbers) > MAX_ROWS:
            self.state.add_error(full, f"Keep to {MAX_ROWS} lines at most.")
            numbers = numbers[:MAX_ROWS]
        counted = [number for number in numbers if self.counts(kind, f"{full}-{number}")]
        self.state.row_numbers[full] = counted
        for number in numbers:
            self.known.update(n for n in self.row_names(kind, f"{full}-{number}"))
        return [self.model(kind, f"{full}-{number}") for number in counted]

    def row_names(self, kind: type[BaseModel], row: str) -> list[str]:
        return [f"{row}-{name}" for name in kind.model_fields]

    def counts(self, kind: type[BaseModel], row: str) -> bool:
        """Whether a row holds anything that was typed; what every row carries (a choice, a hidden number) is not."""
        for name, text in self.state.values.items():
            if name.startswith(row + "-") and text.strip():
                info = kind.model_fields.get(name[len(row) + 1 :])
                is_quiet = name.rpartition("-")[2] in self.quiet
                if not is_quiet and (info is None or not is_choice(info.annotation)):
                    return True
        return False

    def field_of(self, name: str) -> str:
        """The nearest field of the form for a place that may lie within a field's type."""
        stem = name
        while stem and stem not in self.known:
            stem = stem.rpartition("-")[0]
        return stem or name
