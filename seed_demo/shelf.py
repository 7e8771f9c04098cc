"""The demo's shelf: tubes by Colour Index name, mediums, thinners and mixes. Everything here is invented."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Tube:
    """``pigments``: Colour Index key and its share of the pigment volume in per cent.

    ``left_ml``: what is seen in it when the painter looks last.
    """

    label: str
    pigments: tuple[tuple[str, float], ...]
    oil: str = "linseed"
    tube_ml: float = 40.0
    left_ml: float = 25.0


@dataclass(frozen=True)
class Blend:
    """A mix: shelf labels with their parts by volume; ``swatch`` as the painter sees it."""

    label: str
    parts: tuple[tuple[str, float], ...]
    swatch: str | None = None


TUBES = (
    Tube("Titanium white", (("PW6", 100.0),), tube_ml=150, left_ml=96),
    Tube("Titanium white in safflower", (("PW6", 100.0),), oil="safflower", left_ml=31),
    Tube("Lead white", (("PW1", 100.0),), left_ml=22),
    Tube("Zinc white", (("PW4", 100.0),), left_ml=30),
    Tube("Ivory black", (("PBk9", 100.0),), left_ml=28),
    Tube("Raw umber", (("PBr7/raw umber", 100.0),), left_ml=17),
    Tube("Burnt umber", (("PBr7/burnt umber", 100.0),), left_ml=9),
    Tube("Burnt sienna", (("PBr7/burnt sienna", 100.0),), left_ml=26),
    Tube("Yellow ochre", (("PY43", 100.0),), left_ml=30),
    Tube("Cadmium yellow", (("PY35", 100.0),), left_ml=24),
    Tube("Cadmium red", (("PR108", 100.0),), left_ml=6),
    Tube("Quinacridone red", (("PV19", 100.0),), left_ml=33),
    Tube("Ultramarine", (("PB29", 100.0),), left_ml=27),
    Tube("Cobalt blue", (("PB28", 100.0),), left_ml=14),
    Tube("Viridian", (("PG18", 100.0),), left_ml=35),
    Tube("Green earth", (("PG23", 100.0),), left_ml=29),
)

# label: (material, parts) as the shelf writes them
MEDIUMS: tuple[tuple[str, tuple[tuple[str, float], ...]], ...] = (
    ("Linseed oil", (("oil:linseed", 1),)),
    ("Lean medium", (("oil:linseed", 1), ("solvent:odourless_mineral_spirits", 4))),
    ("Glazing medium", (("oil:stand_linseed", 1), ("solvent:odourless_mineral_spirits", 1))),
    ("Alkyd gel medium", (("alkyd_medium", 1),)),
)

SPIRITS = "Odourless mineral spirits"

BLENDS = (
    Blend("First grey", (("Titanium white", 95), ("Ivory black", 5)), "#a3a39f"),
    Blend("Umber wash", (("Raw umber", 10),), "#7a664c"),
    Blend("Warm light", (("Titanium white", 8), ("Yellow ochre", 2), ("Burnt sienna", 0.5)), "#dbc49a"),
    Blend("Sky", (("Titanium white", 8), ("Cobalt blue", 2)), "#9db4d2"),
    Blend("Sea", (("Titanium white", 4), ("Ultramarine", 2), ("Viridian", 1), ("Linseed oil", 0.7)), "#5f8796"),
    Blend("Umber shadow", (("Burnt umber", 6), ("Ultramarine", 3)), "#3d3532"),
    Blend("Black coat", (("Ivory black", 8), ("Ultramarine", 1), ("Linseed oil", 0.9)), "#1f2126"),
    Blend("Flesh", (("Lead white", 7), ("Yellow ochre", 1), ("Cadmium red", 0.6)), "#d9ab8c"),
    Blend("Impasto white", (("Titanium white in safflower", 10),), "#efece3"),
    Blend("Storm grey", (("Titanium white", 6), ("Ultramarine", 1.5), ("Burnt umber", 1)), "#7f8590"),
    Blend("Alkyd ground red", (("Burnt sienna", 6), ("Cadmium red", 2), ("Alkyd gel medium", 1.2)), "#9c4632"),
    Blend("Door red", (("Cadmium red", 8), ("Quinacridone red", 1), ("Linseed oil", 0.8)), "#b3252b"),
    Blend("Frosted green", (("Titanium white", 5), ("Green earth", 4), ("Yellow ochre", 1)), "#a9b08c"),
    Blend("Deep green", (("Viridian", 4), ("Burnt sienna", 3), ("Linseed oil", 0.8)), "#33493a"),
    Blend("Lemon", (("Cadmium yellow", 6), ("Titanium white", 3)), "#f0cf4a"),
    Blend("Blue bowl", (("Ultramarine", 5), ("Titanium white", 3)), "#3d57a0"),
    Blend("Blossom", (("Zinc white", 8), ("Quinacridone red", 0.6)), "#e8c9cf"),
    Blend("Rain glaze", (("Ultramarine", 3), ("Green earth", 2), ("Glazing medium", 3)), "#4d6470"),
    Blend("Rich grey", (("Titanium white", 9), ("Ivory black", 1), ("Linseed oil", 1)), "#8d8d8a"),
)
