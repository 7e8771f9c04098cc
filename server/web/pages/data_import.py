"""Lists from a notebook or a spreadsheet: read, looked over with the painter, and taken in as one change.

Nothing is kept on the server in between: the list travels with the form. Threat: a file is the one thing here that
comes in as bytes. This route alone takes one, of bounded length, decodes it to text or says why not, and forgets it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from server.formats.csv_read import (
    DELIMITERS,
    ENCODINGS,
    Sheet,
    Unreadable,
    decoded,
    delimiter_of,
    likely_encoding,
    read_as,
    sheet,
)
from server.services.errors import Refused
from server.services.lists import values
from server.services.lists.fields import FIELDS, KINDS, Field, Kind, guessed
from server.services.lists.kinds import run
from server.services.lists.take_in import At, Outcome, Reading
from server.web.deps import SENDING, Page, PageRequest
from server.web.form_values import clean_text
from server.web.forms import COMMAND_KEY, FormState, key_of_sending, new_key
from server.web.plain_words import message_for

router = APIRouter(prefix="/data/import")
MAX_LIST_BYTES = 400_000
SHOWN = 60  # rows of a preview
WORDS: Mapping[Kind, tuple[str, str]] = {
    "panels": ("panel", "panels"),
    "layers": ("layer", "layers"),
    "tests": ("touch test", "touch tests"),
    "shelf": ("line of the shelf", "lines of the shelf"),
}
ORDERS = (("dmy", "Day first: 28.11.2026"), ("mdy", "Month first: 11/28/2026"), ("ymd", "Year first: 26-11-28"))
DECIMALS = ((".", "Point: 0.5"), (",", "Comma: 0,5"))
CONSTANT = "="  # before a text that holds for every line


class _PreviewOnly(Exception):
    """Leaves a unit of work so that nothing of it is kept."""


async def posted_list(request: Request) -> FormData:
    """The posted fields as text; a file becomes the fields ``text`` and ``latin``. Faults stand in ``unreadable``."""
    async with request.form(max_files=1, max_fields=200, max_part_size=MAX_LIST_BYTES) as form:
        items = [item for item in form.multi_items() if isinstance(item[1], str)]
        upload = form.get("file")
        if isinstance(upload, UploadFile) and upload.filename:
            items = [item for item in items if item[0] not in {"text", "latin"}]
            items += _from_file(await upload.read(MAX_LIST_BYTES + 1))
    posted = FormData(items)
    setattr(request.state, SENDING, key_of_sending(request.url.path, posted))
    return posted


def _from_file(data: bytes) -> list[tuple[str, str | UploadFile]]:
    try:
        if len(data) > MAX_LIST_BYTES:
            raise Unreadable(f"This file is longer than {MAX_LIST_BYTES // 1000} kB. Bring it in parts.")
        found = decoded(data)
    except Unreadable as fault:
        return [("unreadable", str(fault))]
    return [("text", found.text), ("latin", "" if found.is_sure else "1")]


PostedList = Annotated[FormData, Depends(posted_list)]


@router.get("")
def start(page: Page, kind: str = "panels") -> Response:
    """Where a list is pasted or a file chosen."""
    form = FormState(values={"kind": kind if kind in KINDS else "panels"}, command_key=new_key())
    return page.render("data/import.html", _shown(form))


@router.post("")
def take(page: Page, posted: PostedList) -> Response:
    """Read the list, show what will become of each line, and on ``step`` "save" do it."""
    form = FormState(
        values={name: clean_text(str(value)) for name, value in posted.multi_items()}, command_key=_key(posted)
    )
    try:
        asked = _asked(form)
    except Unreadable as fault:
        form.add_error("file" if "unreadable" in form.values else "text", str(fault))
        return page.render("data/import.html", _shown(form), 422)
    reading = asked.reading
    if form.values.get("step") == "save":
        done = _save(page, posted, asked)
        if isinstance(done, Response):
            return done
        outcome = done
    else:
        outcome = _preview(page, reading)
    is_faulty = bool(outcome.faults) and form.values.get("step") != "read"
    return page.render("data/import.html", _shown(form, asked, outcome), 422 if is_faulty else 200)


@dataclass(frozen=True, slots=True)
class Asked:
    """The list with how it is read, and what the painter may say otherwise."""

    reading: Reading
    fields: tuple[Field, ...]
    columns: tuple[tuple[str, str], ...]
    needs_order: bool
    numbers: bool
    is_latin: bool
    words: tuple[str, str]
    sample: str

    def options(self, field: Field) -> list[Any]:
        """The columns; for a closed list also what may hold for every line."""
        fixed = [(f"{CONSTANT}{each}", f"all: {each.replace('_', ' ')}") for each in field.choices]
        return [*self.columns, *fixed]

    def units(self, field: Field) -> list[tuple[str, str]]:
        return [(unit, unit) for unit in values.UNITS[field.unit]] if field.unit else []


def _shown(form: FormState, asked: Asked | None = None, outcome: Outcome | None = None) -> dict[str, Any]:
    lists = {"encodings": ENCODINGS, "delimiters": DELIMITERS, "orders": ORDERS, "decimals": DECIMALS}
    return {"form": form, "asked": asked, "outcome": outcome, "shown": SHOWN, **lists}


def _key(posted: FormData) -> str:
    given = posted.get(COMMAND_KEY)
    return given if isinstance(given, str) and given else new_key()


def _asked(form: FormState) -> Asked:
    """Raises ``Unreadable``. What was not said yet is guessed and put into the form's values."""
    given = form.values
    if "unreadable" in given:
        raise Unreadable(given["unreadable"])
    kind: Kind = next((each for each in KINDS if each == given.get("kind")), "panels")
    text = given.get("text", "")
    if not text.strip():
        raise Unreadable("Paste a list, or choose a file.")
    if given.get("latin"):
        text = read_as(text, given.setdefault("encoding", likely_encoding(text)))
    if given.get("delimiter") not in DELIMITERS:
        given["delimiter"] = delimiter_of(text)
    cells = sheet(text, given["delimiter"])
    _guess(given, kind, cells)
    columns = {field.name: _column(given.get(f"col-{field.name}", ""), cells) for field in FIELDS[kind]}
    dated = _texts(cells, kind, columns, dated=True)
    needs_order = any(values.order_of([each]) == "" or _is_numbers(each) for each in dated)
    if given.get("order") not in {order for order, _ in ORDERS}:
        given["order"] = values.order_of(dated)
    numeric = _texts(cells, kind, columns, dated=False)
    if given.get("decimal") not in {".", ","}:
        given["decimal"] = values.decimal_of(numeric)
    units = {field.name: _unit(given, field) for field in FIELDS[kind] if field.unit}
    reading = Reading(kind, cells, columns, units, given["decimal"], given["order"])  # type: ignore[arg-type]
    return Asked(
        reading=reading,
        fields=FIELDS[kind],
        columns=tuple((str(n), f"{_letter(n)}: {head or '(no heading)'}") for n, head in enumerate(cells.header)),
        needs_order=needs_order,
        numbers=any("," in each or "." in each for each in numeric),
        is_latin=bool(given.get("latin")),
        words=WORDS[kind],
        sample=next((word for word in text.split() if not word.isascii()), ""),
    )


def _is_numbers(text: str) -> bool:
    """Whether a day is written in numbers with no year in front, so that its order matters."""
    return bool(text[:2].strip(".-/ ").isdigit()) and not text[:4].isdigit()


def _guess(given: dict[str, str], kind: Kind, cells: Sheet) -> None:
    """Columns and units, when the list was only just given or is of another kind now."""
    if given.get("guessed") == kind:
        return
    found = guessed(kind, cells.header)
    for field in FIELDS[kind]:
        column = found.get(field.name)
        given[f"col-{field.name}"] = "" if column is None else str(column)
        if field.unit and column is not None:
            given[f"unit-{field.name}"] = values.unit_named(cells.header[column], field.unit) or field.unit
    given["guessed"] = kind


def _column(text: str, cells: Sheet) -> int | str:
    if text.startswith(CONSTANT):
        return text.removeprefix(CONSTANT)[:60]
    return int(text) if text.isascii() and text.isdigit() and int(text[:4]) < len(cells.header) else ""


def _unit(given: dict[str, str], field: Field) -> str:
    chosen = given.get(f"unit-{field.name}", "")
    given[f"unit-{field.name}"] = chosen if chosen in values.UNITS[field.unit] else field.unit
    return given[f"unit-{field.name}"]


def _texts(cells: Sheet, kind: Kind, columns: Mapping[str, int | str], *, dated: bool) -> list[str]:
    wanted = [f.name for f in FIELDS[kind] if (f.dated if dated else bool(f.unit) or f.numeric)]
    chosen = [column for name in wanted if isinstance(column := columns.get(name), int)]
    return [line.cells[column] for line in cells.lines for column in chosen if line.cells[column]]


def _letter(column: int) -> str:
    """As spreadsheets call it: A to Z, then AA."""
    return (chr(64 + column // 26) if column >= 26 else "") + chr(65 + column % 26)


def _preview(page: PageRequest, reading: Reading) -> Outcome:
    """What would happen. It is done and rolled back, so that a preview says what the services say."""
    outcome = Outcome((), ())
    try:
        with page.unit("Looked at a list") as work:
            outcome = run(At(work.session, page.actor, page.zone, page.now), reading, message_for)
            raise _PreviewOnly
    except _PreviewOnly:
        return outcome


def _save(page: PageRequest, posted: FormData, asked: Asked) -> Response | Outcome:
    """303 when every line was taken; else what is wrong, with nothing kept."""
    outcome = Outcome((), ())
    try:
        with page.unit("", posted) as work:
            if not work.repeated:
                outcome = run(At(work.session, page.actor, page.zone, page.now), asked.reading, message_for)
                if outcome.faults:
                    raise _PreviewOnly
                new = outcome.count("new")
                one, many = asked.words
                work.label = f"Took in {new or 'no'} {one if new == 1 else many} from a list"
                work.location = {"shelf": "/shelf"}.get(asked.reading.kind, "/panels")
    except _PreviewOnly:
        return outcome
    except Refused as fault:
        return replace(outcome, faults=outcome.faults) if outcome.faults else _refused(page, fault)
    return page.saved(work)


def _refused(page: PageRequest, fault: Refused) -> Response:
    return page.render("history/refused.html", {"message": fault.message, "back": "/data/import"}, 409)
