"""The trade's words in plain ones: one table, shown as the page /glossary and behind each word on a tap.

Where a standard defines the word, ``standard`` names it; the wording is ours. Everything else is common studio usage,
no source.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Term:
    """``key`` addresses the term; ``told`` is one or two sentences; ``standard`` is "" where none defines it."""

    key: str
    word: str
    told: str
    standard: str = ""


FAMILIES: tuple[tuple[str, tuple[Term, ...]], ...] = (
    (
        "What is in a mix",
        (
            Term("fat", "Fat", "Rich in binder for its pigment: paint with oil or medium added."),
            Term(
                "lean",
                "Lean",
                "Poor in binder: paint as it comes from the tube, or thinned with solvent, which leaves.",
            ),
            Term(
                "fat-over-lean",
                "Fat over lean",
                "Each layer holds at least as much binder as the one below, so that the lower one does not keep moving "
                "under a brittle skin.",
            ),
            Term(
                "richness",
                "Richness (D)",
                "Binder to solids against paint straight from the tube: 1 is the tube, 1.2 has 2 ml of oil in 10 ml.",
            ),
            Term(
                "added-binder",
                "Added binder (M)",
                "The oil or resin put in besides what the tube holds, as a share of paint and added binder together.",
            ),
            Term("solvent-share", "Solvent share (S)", "How much of the wet mix is thinner. It leaves within hours."),
            Term(
                "binder",
                "Binder",
                "What stays of the liquid and holds the pigment: drying oil, alkyd, resin.",
                "ISO 4618",
            ),
            Term(
                "non-volatile", "What stays", "The part of a medium that is left once its solvent has gone.", "ISO 3251"
            ),
            Term(
                "pvc",
                "Pigment volume concentration (PVC)",
                "The pigment's share of the dry film's volume.",
                "ISO 4618",
            ),
            Term(
                "critical-pvc",
                "Critical PVC",
                "The most pigment whose gaps the binder still fills. Beyond it the film is matte and weak.",
                "ISO 4618",
            ),
            Term(
                "reduced-pvc", "Reduced PVC", "The PVC divided by the critical one: below 1 there is binder to spare."
            ),
            Term(
                "oil-absorption",
                "Oil absorption",
                "How much oil a pigment takes up until it makes a paste. Pigments that take much oil make fat paint.",
                "ISO 787-5",
            ),
            Term(
                "iodine-value",
                "Iodine value",
                "How many double bonds an oil has to dry with: more dries quicker.",
                "ISO 3961",
            ),
            Term("drier", "Drier", "A metal soap that speeds the drying of oil: a little helps, much makes brittle."),
            Term(
                "stand-oil", "Stand oil", "Oil thickened by heat without air: it levels, dries slowly, yellows little."
            ),
            Term("alkyd", "Alkyd", "A resin made with drying oil. It dries quickly, within a day or so."),
            Term(
                "ci-name",
                "Colour Index name",
                "A pigment's own name, such as PW6 or PBr7, whatever the tube calls its colour.",
                "Colour Index",
            ),
        ),
    ),
    (
        "How a film dries",
        (
            Term("wet", "Wet", "Paint comes off on a fingertip."),
            Term(
                "set-to-touch", "Tacky", "It clings to a fingertip, and nothing comes off.", "set-to-touch, ASTM D1640"
            ),
            Term(
                "dry-to-touch",
                "Touch-dry",
                "A light fingertip leaves no mark and feels no tack.",
                "dry-to-touch, ASTM D1640",
            ),
            Term(
                "dry-to-recoat",
                "Ready for the next layer",
                "Another coat can go on without lifting or wrinkling this one.",
                "dry-to-recoat, ASTM D1640",
            ),
            Term(
                "dry-through",
                "Firm",
                "A thumb pressed and turned with force leaves no mark: dry down to the ground.",
                "dry-through, ASTM D1640; ISO 9117-1",
            ),
            Term(
                "touch-test",
                "Touch test",
                "Pressing a corner with a clean fingertip, and noting what it says and when.",
            ),
            Term(
                "witness-strip",
                "Witness strip",
                "A scrap painted with the same mix on the same day, to press instead of the picture.",
            ),
            Term(
                "likely",
                "Likely",
                "Eight times in ten the day falls within the range told; one in ten it is earlier, one in ten later.",
            ),
            Term(
                "reference-room",
                "Reference room",
                "21 °C, 50 % humidity, the light of an ordinary room: what speeds are told against.",
            ),
        ),
    ),
    (
        "How a picture is built",
        (
            Term("support", "Support", "What the picture is on: a board, or canvas on a stretcher."),
            Term(
                "ground",
                "Ground",
                "The prepared surface between support and paint: acrylic primer, oil ground, glue and chalk.",
            ),
            Term("sitting", "Sitting", "One session of painting on one panel."),
            Term("imprimatura", "Imprimatura", "A thin wash of colour over the whole ground."),
            Term("underpainting", "Underpainting", "The first painting, most often lean and in few colours."),
            Term("block-in", "Block-in", "The large masses of colour, put down simply."),
            Term("grisaille", "Grisaille", "An underpainting in greys alone, to be glazed."),
            Term("scumble", "Scumble", "A thin, broken layer of opaque light paint over a darker one."),
            Term("glaze", "Glaze", "A thin transparent layer, rich in medium, through which the layer below shines."),
            Term("impasto", "Impasto", "Paint that stands up thick."),
            Term(
                "wet-in-wet",
                "Wet in wet",
                "Painting into a layer that has not set yet, so that the two become one film.",
            ),
            Term(
                "couch",
                "Couch",
                "A thin film of oil rubbed on a dry layer before painting, wiped until it only gleams.",
            ),
            Term("sinking-in", "Sunken", "Dull patches where the layer below has drunk the oil."),
            Term("oiling-out", "Oiling out", "Rubbing a little oil into sunken patches to bring their depth back."),
            Term(
                "wet-thickness",
                "Wet thickness",
                "How thick the paint lies as it goes on, solvent included: 50 µm is an ordinary brush.",
            ),
            Term("area-share", "Share of the area", "How much of the panel a mix covers in its layer."),
        ),
    ),
    (
        "How it is finished",
        (
            Term(
                "temporary-varnish",
                "Temporary varnish",
                "A very thin coat before the picture is dry through, to even its gloss for a show.",
            ),
            Term(
                "final-varnish", "Final varnish", "The removable coat that protects the picture once it is dry through."
            ),
            Term(
                "swab-test",
                "Swab test",
                "Rolling a barely damp cotton swab over an edge: colour on it means the film is not ready.",
            ),
            Term("due", "Due", "The day a picture was promised for."),
            Term("release", "Earliest start", "The first day on which a layer may go on."),
        ),
    ),
)
TERMS = {term.key: term for _, terms in FAMILIES for term in terms}
