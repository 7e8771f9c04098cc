"""The thresholds of the soundness rules: one table, with defaults that a studio may edit.

The values, units, meanings and bases stand in ``data/soundness_thresholds.toml``; no rule holds a number of its own.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from itertools import pairwise
from pathlib import Path

from server.science.soundness.types import Basis

TABLE = Path(__file__).parents[1] / "data" / "soundness_thresholds.toml"

# Thresholds that make sense only in this order, least first.
ORDERED: tuple[tuple[str, ...], ...] = (
    ("fat_gap_pass", "fat_gap_stop"),
    ("speed_stop_ratio", "speed_caution_ratio"),
    ("medium_pass", "medium_note", "medium_caution"),
    ("rich_thick_um", "rich_thick_stop_um"),
    ("thinner_pass", "thinner_high"),
    ("young_solvent_target", "young_solvent_caution", "young_solvent_stop"),
    ("wax_note", "wax_caution", "wax_stop"),
    ("acrylic_wait_d", "acrylic_advised_d"),
    ("oil_ground_caution_d", "oil_ground_note_d"),
    ("couch_um", "couch_caution_um"),
    ("varnish_thin_um", "varnish_thick_um"),
    ("varnish_thin_d", "varnish_thick_d"),
    ("temporary_d", "temporary_advised_d"),
    ("frame_wait_d", "frame_advised_d"),
    ("transit_freezing_c", "transit_cold_c", "transit_cool_c", "transit_hot_c"),
)


@dataclass(frozen=True, slots=True)
class ThresholdRow:
    """One row of the table.

    ``unit`` is "1" for a ratio or share; ``low`` and ``high`` bound what an edit may set; ``rules`` are the ids of the
    rules that look at it.
    """

    name: str
    value: float
    unit: str
    low: float
    high: float
    rules: tuple[str, ...]
    meaning: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Every threshold by name; the table says what each means."""

    base_binder_fraction: float
    remedy_oil_density_g_ml: float
    fat_gap_pass: float
    fat_gap_stop: float
    thin_film_um: float
    speed_caution_ratio: float
    speed_stop_ratio: float
    speed_thick_um: float
    speed_rich: float
    light_work_solvent_max: float
    light_work_wet_um: float
    impasto_um: float
    local_area_share: float
    thick_lower_um: float
    thick_lower_ratio: float
    medium_pass: float
    medium_note: float
    medium_caution: float
    rich_thick_um: float
    rich_thick_stop_um: float
    rich_thick_medium: float
    coat_um: float
    thinner_pass: float
    thinner_high: float
    thinner_swap_oil: float
    young_solvent_caution: float
    young_solvent_stop: float
    young_solvent_target: float
    absorbent_richness: float
    absorbent_solvent: float
    sealed_richness: float
    old_film_d: float
    old_film_medium: float
    alkyd_rich_share: float
    alkyd_present_share: float
    alkyd_similar_share: float
    drier_rich: float
    drier_thick_um: float
    resin_medium_share: float
    wax_note: float
    wax_caution: float
    wax_stop: float
    zinc_main_share: float
    acrylic_wait_d: float
    acrylic_advised_d: float
    acrylic_thick_um: float
    oil_ground_caution_d: float
    oil_ground_note_d: float
    slow_pigment_share: float
    slow_layer_um: float
    clove_drops: float
    couch_um: float
    couch_caution_um: float
    glaze_um: float
    glaze_medium: float
    glaze_solvent: float
    pending_layers: float
    varnish_thin_um: float
    varnish_thick_um: float
    varnish_thin_d: float
    varnish_thick_d: float
    varnish_rich: float
    varnish_alkyd_d: float
    swab_again_d: float
    temporary_d: float
    temporary_advised_d: float
    frame_wait_d: float
    frame_advised_d: float
    wrap_wait_d: float
    transit_cool_c: float
    transit_cold_c: float
    transit_freezing_c: float
    transit_hot_c: float

    def edited(self, values: Mapping[str, float]) -> "Thresholds":
        """These thresholds with some values replaced.

        Raises ``ValueError`` naming the threshold when it is unknown, not a number, outside its row's bounds, or out
        of its order among ``ORDERED``.
        """
        for name, value in values.items():
            row = ROWS_BY_NAME.get(name)
            if row is None:
                raise ValueError(f"{name}: no such threshold")
            if not row.low <= value <= row.high:
                raise ValueError(f"{name}: {value:g} is not between {row.low:g} and {row.high:g}")
        made = replace(self, **dict(values))
        for lesser, greater in made.out_of_order():
            raise ValueError(f"{lesser}: must not be more than {greater}")
        return made

    def out_of_order(self) -> list[tuple[str, str]]:
        """Pairs of names of which the first is more than the second, although ``ORDERED`` says otherwise."""
        pairs = (pair for chain in ORDERED for pair in pairwise(chain))
        return [(lesser, greater) for lesser, greater in pairs if getattr(self, lesser) > getattr(self, greater)]

    def edits(self) -> dict[str, float]:
        """The values that differ from the defaults."""
        return {name: value for name, value in asdict(self).items() if value != ROWS_BY_NAME[name].value}


def _read() -> tuple[ThresholdRow, ...]:
    table = tomllib.loads(TABLE.read_text(encoding="utf-8"))
    return tuple(
        ThresholdRow(**{**row, "rules": tuple(row["rules"]), "basis": Basis(row["basis"])})
        for row in table["threshold"]
    )


ROWS = _read()
ROWS_BY_NAME = {row.name: row for row in ROWS}
if set(ROWS_BY_NAME) != {item.name for item in fields(Thresholds)}:
    raise RuntimeError("soundness_thresholds.toml and Thresholds name different thresholds")
DEFAULT = Thresholds(**{row.name: row.value for row in ROWS})
