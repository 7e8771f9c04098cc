"""What a layer's form offers to choose from."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.science.reference import thickness_presets
from server.services import mixes, paints, thinners
from server.services.access import Actor
from server.services.errors import Invalid
from server.services.layer_commands import LAYER_KINDS, LayerMixPart, LayerUpdate
from server.store.tables import Mix, Paint
from server.web.forms import FormState
from server.web.words import quantity

TUBE = "tube-"  # before a paint's uid: that paint alone, without mixing it first
# What each of the painter's words means, for those who do not use it.
KIND_HINTS = {
    "imprimatura": "a toned ground",
    "underdrawing": "a thinned line",
    "underpainting": "the lean first image",
    "block-in": "colour blocking",
    "second painting": "body and half-tones",
    "couch": "oil wiped on to paint into",
    "scumble": "opaque, rubbed thin",
    "glaze": "transparent and rich",
    "impasto": "thick",
    "detail": "small touches",
    "retouching": "here and there",
}
REGIONS = ("background", "lights", "darks", "half-tones", "flesh", "eyes", "hair", "drapery", "sky", "foreground")
# Fields of the drawer that stays shut until one of them says something.
DRAWER = {"material": "oil", "texture": "smooth", "surface": "", "wet_in_wet": "", "notes": ""}


@dataclass(frozen=True, slots=True)
class LayerChoices:
    """Pairs (value, words), or triples with a detail; ``regions`` are suggestions."""

    kinds: Sequence[tuple[str, str, str]]
    presets: Sequence[tuple[str, str, str]]
    mixes: Sequence[tuple[str, Sequence[tuple[str, str]]]]  # under their headings
    thinners: Sequence[tuple[str, str]]
    regions: Sequence[str] = REGIONS

    def opens(self, form: FormState) -> bool:
        """Whether the drawer of the rarer fields holds something, or a fault."""
        return any(form.value(name, usual) != usual or form.error(name) for name, usual in DRAWER.items())


def layer_choices(session: Session, actor: Actor, stored: LayerUpdate | None = None) -> LayerChoices:
    """What is on the shelf, and what ``stored`` names although it was archived since."""
    open_mixes = mixes.all_open(session, actor)
    open_thinners = thinners.all_open(session, actor)
    mix_uids = {mix.uid for mix in open_mixes}
    thinner_uids = {thinner.uid for thinner in open_thinners}
    named = {part.mix_uid for part in stored.mixes} - mix_uids if stored else set()
    old_mixes = [mixes.get(session, actor, uid) for uid in sorted(named)]
    old_thinner = stored.thinner_uid if stored and stored.thinner_uid not in thinner_uids else None
    old_thinners = [thinners.get(session, actor, old_thinner)] if old_thinner else []
    return LayerChoices(
        kinds=[(kind, kind[0].upper() + kind[1:], KIND_HINTS.get(kind, "")) for kind in LAYER_KINDS],
        presets=[
            (row.name, row.label[0].upper() + row.label[1:], quantity(row.wet_thickness_um, "µm", 3))
            for row in thickness_presets()
        ],
        mixes=_by_heading([*open_mixes, *old_mixes], paints.all_open(session, actor)),
        thinners=[(thinner.uid, thinner.label) for thinner in [*open_thinners, *old_thinners]],
    )


def _by_heading(kept: Sequence[Mix], tubes: Sequence[Paint]) -> list[tuple[str, Sequence[tuple[str, str]]]]:
    """The mixes, then the tubes whose names no mix bears."""
    names = {mix.label for mix in kept}
    single = sorted((paint.label, TUBE + paint.uid) for paint in tubes if paint.label not in names)
    groups = [
        ("Mixes", [(mix.uid, mix.label) for mix in kept]),
        ("Straight from the tube", [(value, label) for label, value in single]),
    ]
    return [(heading, pairs) for heading, pairs in groups if pairs]


def with_tubes_as_mixes(session: Session, actor: Actor, parts: tuple[LayerMixPart, ...]) -> tuple[LayerMixPart, ...]:
    """The regions with a mix in place of each tube that was chosen unmixed. Raises ``Invalid`` at the region."""
    found = []
    for number, part in enumerate(parts):
        if not part.mix_uid.startswith(TUBE):
            found.append(part)
            continue
        try:
            mix = mixes.of_tube(session, actor, part.mix_uid.removeprefix(TUBE))
        except Invalid as fault:
            raise Invalid.at(f"mixes.{number}.mix_uid", fault.errors[0].message) from fault
        found.append(part.model_copy(update={"mix_uid": mix.uid}))
    return tuple(found)
