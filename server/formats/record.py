"""The record of a panel: what was painted, as it was then, for the back of the panel, a buyer or a conservator.

Value types, and the same as plain text and as JSON. Days are days in the studio's zone; shares 0 to 1.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from json import dumps
from textwrap import wrap
from typing import Any

from pydantic import TypeAdapter

FORMAT = "umberday-panel-record"
VERSION = 1
WIDTH = 78


@dataclass(frozen=True, slots=True)
class PigmentUsed:
    """``share`` of its paint's pigment volume."""

    ci_name: str
    variant: str
    name: str
    share: float


@dataclass(frozen=True, slots=True)
class PaintUsed:
    """A tube in a mix: ``parts`` by volume, the oil it is ground in, its pigments."""

    parts: float
    oil: str
    pigments: tuple[PigmentUsed, ...]


@dataclass(frozen=True, slots=True)
class AdditionUsed:
    """Oil, medium, thinner, drier and so on in a mix. ``kind`` is the program's word, ``words`` the painter's."""

    kind: str
    words: str
    parts: float | None


@dataclass(frozen=True, slots=True)
class MixUsed:
    """One mix of a layer; ``swatch`` #rrggbb is worked out from what was in it."""

    name: str
    area_share: float
    swatch: str
    paints: tuple[PaintUsed, ...]
    additions: tuple[AdditionUsed, ...]


@dataclass(frozen=True, slots=True)
class TestMade:
    """A touch test, or a test of the finished picture."""

    at: datetime
    what: str
    where: str
    note: str


@dataclass(frozen=True, slots=True)
class Overruled:
    """What the rules said when something was done, and why it was done all the same."""

    verdict: str
    findings: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class LayerRecord:
    """One layer that is on, lowest first. ``film_um`` is the film without its solvent; ``dry_through`` tells when."""

    number: int
    kind: str
    material: str
    painted_at: datetime
    wet_um: float
    film_um: float
    texture: str
    surface: str
    state: str
    dry_through: str
    mixes: tuple[MixUsed, ...]
    tests: tuple[TestMade, ...]
    overruled: Overruled | None
    notes: str


@dataclass(frozen=True, slots=True)
class StepRecord:
    """A step of the finish; ``on`` None: planned without a day."""

    what: str
    is_done: bool
    on: date | None
    transit_c: float | None
    note: str
    overruled: Overruled | None


@dataclass(frozen=True, slots=True)
class PanelRecord:
    """The whole sheet. ``advice`` says what to do about varnish and handling, ``cautions`` what the paint holds."""

    title: str
    studio: str
    is_invented: bool
    made_on: date
    zone: str
    width_cm: float
    height_cm: float
    support: str
    ground: str
    ground_on: date | None
    place: str
    finished_on: date | None
    notes: str
    layers: tuple[LayerRecord, ...]
    steps: tuple[StepRecord, ...]
    tests: tuple[TestMade, ...]
    varnish: str
    advice: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]

    @property
    def pigments(self) -> tuple[PigmentUsed, ...]:
        """Every pigment in the picture, once, in the order of its Colour Index name."""
        found = {
            (pigment.ci_name, pigment.variant): pigment
            for layer in self.layers
            for mix in layer.mixes
            for paint in mix.paints
            for pigment in paint.pigments
        }
        return tuple(found[key] for key in sorted(found))


def day(on: date) -> str:
    return f"{on.day} {on:%B %Y}"


def figure(value: float) -> str:
    """Up to three significant digits."""
    return f"{value:.3g}" if value < 1000 else f"{value:.0f}"


def rough(value: float) -> str:
    """Two significant digits: what is worked out from a thickness that is hardly known to more."""
    return figure(float(f"{value:.2g}"))


def pigment_words(pigment: PigmentUsed) -> str:
    """``PBr7 (raw umber)``; the Colour Index name first."""
    name = pigment.variant or pigment.name
    return f"{pigment.ci_name} ({name})" if name else pigment.ci_name


def paint_words(paint: PaintUsed) -> str:
    """``2 parts PW6 (titanium white) in linseed oil``; shares only where there are several pigments."""
    several = len(paint.pigments) > 1
    named = ", ".join(
        f"{pigment_words(p)} {p.share * 100:.0f} %" if several else pigment_words(p) for p in paint.pigments
    )
    return f"{parts_words(paint.parts)} {named} in {paint.oil}"


def parts_words(parts: float) -> str:
    return f"{figure(parts)} part{'' if parts == 1 else 's'}"


def to_json(record: PanelRecord) -> str:
    """The record as JSON; instants and days are ISO text."""
    document = {"format": FORMAT, "version": VERSION, **asdict(record)}
    document["cautions"] = [{"what": what, "text": text} for what, text in record.cautions]
    return dumps(document, ensure_ascii=False, indent=2, default=_as_text) + "\n"


def json_schemas() -> dict[str, Any]:
    """What ``to_json`` writes, as JSON schemas by name; "PanelRecord" is the document itself."""
    found = TypeAdapter(PanelRecord).json_schema(
        ref_template="#/components/schemas/Record{model}", mode="serialization"
    )
    parts = {f"Record{name}": part for name, part in found.pop("$defs").items()}
    caution = {"type": "object", "properties": {"what": {"type": "string"}, "text": {"type": "string"}}}
    found["properties"] |= {
        "format": {"type": "string"},
        "version": {"type": "integer"},
        "cautions": {"type": "array", "items": caution},
    }
    return {**parts, "PanelRecord": found}


def _as_text(value: Any) -> str:
    if isinstance(value, datetime | date):
        return value.isoformat()
    raise TypeError(type(value).__name__)


def to_text(record: PanelRecord) -> str:
    """The record as plain text, wrapped to be printed or pasted."""
    return "\n".join(_lines(record)) + "\n"


def _lines(record: PanelRecord) -> Iterator[str]:
    yield from _heading(record.title, "=")
    if record.is_invented:
        yield "An invented studio: everything in it is made up."
    yield from _facts(
        (
            ("Studio", record.studio),
            ("Size", f"{figure(record.width_cm)} x {figure(record.height_cm)} cm"),
            ("Support", record.support),
            ("Ground", record.ground + (f", laid {day(record.ground_on)}" if record.ground_on else "")),
            ("Dried in", record.place),
            ("Finished", day(record.finished_on) if record.finished_on else "not yet"),
            ("Varnish", record.varnish),
            ("Times in", record.zone),
            ("Written", day(record.made_on)),
        )
    )
    if record.notes:
        yield from _paragraph(record.notes)
    yield from _heading("Layers, from the ground up", "-")
    for layer in record.layers:
        yield from _layer(layer)
    if not record.layers:
        yield "None yet."
    yield from _finish(record)
    yield from _heading("Pigments by Colour Index name", "-")
    yield from (f"  {pigment_words(pigment)}" for pigment in record.pigments)
    yield from _heading("Advice", "-")
    for line in record.advice:
        yield from _paragraph(line)
    if record.cautions:
        yield from _heading("Cautions", "-")
        for what, text in record.cautions:
            yield from _paragraph(f"{what}: {text}")


def _layer(layer: LayerRecord) -> Iterator[str]:
    yield ""
    yield f"{layer.number}. {layer.kind}, painted {day(layer.painted_at.date())}"
    thick = (
        f"{figure(layer.wet_um)} um wet, a film of about {rough(layer.film_um)} um; {layer.material}, {layer.texture}"
    )
    yield from _paragraph(thick, "   ")
    for mix in layer.mixes:
        yield from _paragraph(f"{mix.name}, {mix.area_share * 100:.0f} % of the area:", "   ")
        for paint in mix.paints:
            yield from _paragraph(paint_words(paint), "     ")
        for addition in mix.additions:
            yield from _paragraph(addition.words, "     ")
    yield from _paragraph(f"{layer.state}; {layer.dry_through}" if layer.dry_through else layer.state, "   ")
    yield from _tests(layer.tests, "   ")
    yield from _overruled(layer.overruled, "   ")
    if layer.notes:
        yield from _paragraph(layer.notes, "   ")


def _finish(record: PanelRecord) -> Iterator[str]:
    yield from _heading("The finish", "-")
    for step in record.steps:
        when = day(step.on) if step.on else "no day yet"
        transit = "" if step.transit_c is None else f", {figure(step.transit_c)} C on the way"
        note = f": {step.note}" if step.note else ""
        yield from _paragraph(f"{'' if step.is_done else 'Planned: '}{step.what}, {when}{transit}{note}")
        yield from _overruled(step.overruled, "  ")
    yield from _tests(record.tests, "")
    if not record.steps and not record.tests:
        yield "Nothing yet."


def _tests(tests: Iterable[TestMade], indent: str) -> Iterator[str]:
    for test in tests:
        told = ": ".join(part for part in (test.where, test.note) if part)
        yield from _paragraph(f"{day(test.at.date())}: {test.what}" + (f" ({told})" if told else ""), indent)


def _overruled(overruled: Overruled | None, indent: str) -> Iterator[str]:
    if overruled is not None:
        yield from _paragraph(f"The rules said {overruled.verdict}: {'; '.join(overruled.findings)}.", indent)
        yield from _paragraph(f"Done all the same: {overruled.reason}", indent)


def _heading(text: str, line: str) -> tuple[str, ...]:
    return ("", text, line * min(len(text), WIDTH))


def _facts(pairs: Sequence[tuple[str, str]]) -> Iterator[str]:
    for name, text in pairs:
        if text:
            yield from wrap(f"{name}: {text}", WIDTH, subsequent_indent="  ")


def _paragraph(text: str, indent: str = "") -> Iterator[str]:
    for line in text.splitlines():
        yield from wrap(line, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ") or [""]
