"""Answers to what if, to a mix on the palette, to a stack before it is painted, and to what was learned of a layer.

Volumes are millilitres, thickness is µm, days are dates in the studio's zone, ``*_d`` are days after painting.
"""

from datetime import date, datetime
from typing import Literal

from server.formats.board_json import BoardDays, BoardFinding, BoardVerdict, SeverityName, StageName, StateName, Told

FactorName = str


class LayerDatesOut(Told):
    """When a layer reaches its stages: as days after painting, and as dates."""

    central_d: dict[StageName, float]
    days: dict[StageName, BoardDays]


class RegionDatesOut(Told):
    name: str
    low_d: dict[StageName, float]
    central_d: dict[StageName, float]
    high_d: dict[StageName, float]


class SoonerWayOut(Told):
    """What would bring the stage nearer, by how many days."""

    what: str
    days: BoardDays
    sooner_d: float


class FactorOut(Told):
    """A part of the time; above 1 it is slower."""

    name: FactorName
    factor: float
    why: str


class TimePartsOut(Told):
    """``base_d`` times all factors is ``touch_d``."""

    name: str
    base_d: float
    touch_d: float
    factors: tuple[FactorOut, ...]


class ReasonOut(Told):
    """A part of the time that changes, and how many times as long it makes it."""

    name: FactorName
    times: float


class WhatIfOut(Told):
    """``tried`` is null while nothing is tried out; ``target`` is the stage that is waited for. ``in_hindsight``: of a
    layer that is on, as it would be had it been laid otherwise."""

    layer_uid: str
    panel_uid: str
    is_painted: bool
    laid_at: datetime
    target: StageName
    now: LayerDatesOut
    tried: LayerDatesOut | None
    regions: tuple[RegionDatesOut, ...]
    ways: tuple[SoonerWayOut, ...]
    culprit: str
    parts: tuple[TimePartsOut, ...]
    reasons: tuple[ReasonOut, ...]
    in_hindsight: bool


class MixCompositionOut(Told):
    """What a mix is made of, by volume unless the name says otherwise. ``richness`` and ``reduced_pvc`` are null where
    there are no solids."""

    richness: float | None
    added_binder_share: float
    solvent_share: float
    binder_volume_fraction: float
    pigment_volume_concentration: float
    critical_pvc: float
    reduced_pvc: float | None
    density_g_cm3: float
    film_thickness_um: float
    oil_mass_share: float
    pigment_mass_share: float
    solvent_mass_share: float


class MixQuantityOut(Told):
    """What to mix, and how much of it is tube paint; ``area_cm2`` of the panel."""

    wet_ml: float
    paint_ml: float
    area_cm2: float | None


class MixIngredientOut(Told):
    label: str
    share: float
    ml: float
    drops: float | None


class MixTimesOut(Told):
    """When a layer of the mix, painted then, is dry. ``ratio``: its touch time against titanium white in linseed, as
    thick, in the same room, and ``drying`` the same in words. ``no_forecast``: why there is none."""

    touch_low_d: float | None
    touch_central_d: float | None
    touch_high_d: float | None
    touch_on: BoardDays | None
    recoat_on: BoardDays | None
    through_on: BoardDays | None
    ratio: float | None
    drying: str
    no_forecast: str | None
    warnings: tuple[str, ...]


class MixLineOut(Told):
    """One thing of a mix before and after a change, in parts and millilitres; ``more_ml`` is added, below zero taken
    away."""

    label: str
    parts_before: float
    parts: float
    ml: float
    g: float
    drops: int | None
    more_ml: float


class MixWayOut(Told):
    """A way out of a finding, tried on the rules."""

    finding: str
    wet_thickness_um: float
    coats: int | None
    lines: tuple[MixLineOut, ...]
    touch_on: BoardDays
    verdict: BoardVerdict | None


class MixOverOut(Told):
    """What the rules say of the mix over a panel: over what is on it, or over what is planned for it as well."""

    panel_uid: str
    title: str
    top: str
    state: StateName
    on: date
    planned: tuple[str, ...]
    verdict: BoardVerdict | None
    lightly: BoardVerdict | None
    ways: tuple[MixWayOut, ...]


class FoundMixOut(Told):
    """A mix that was found: from which day it may go on, when what was asked for has come about."""

    wet_thickness_um: float
    lines: tuple[MixLineOut, ...]
    change_ml: float
    on: date | None
    touch_on: BoardDays | None
    done_on: date | None
    verdict: BoardVerdict | None
    stays: tuple[BoardFinding, ...]


class FoundMixesOut(Told):
    """``nearest`` where nothing passes by that day; ``sound``: whether what is listed is."""

    by: date
    listed: tuple[FoundMixOut, ...]
    nearest: FoundMixOut | None
    tried: int
    sound: bool


class MixKeepsOut(Told):
    """How many days after mixing it is worth a test, kept so; a guess."""

    kept_in: str
    use_by_d: float
    gains_little: bool


class MixingOut(Told):
    """Everything of a mix on the palette. ``hazards`` name its cautions."""

    swatch: str
    wet_thickness_um: float
    place: str
    painted_at: datetime
    composition: MixCompositionOut
    quantity: MixQuantityOut
    ingredients: tuple[MixIngredientOut, ...]
    times: MixTimesOut
    hazards: tuple[str, ...]
    over: MixOverOut | None
    found: FoundMixesOut | None
    kept: tuple[MixKeepsOut, ...]


class CheckedLayerOut(Told):
    """A layer to come of a stack: ``on`` the day by which it may go on, surely enough for the studio, for which the
    rules were asked; ``held_by`` rules that kept it beyond its drying; ``clear_on`` from when not even a caution is
    left."""

    number: int
    kind: str
    is_new: bool
    wet_thickness_um: float
    solvent_pct: float
    mix: str
    advice: str
    may: BoardDays | None
    on: date | None
    touch: BoardDays | None
    verdict: BoardVerdict | None
    held_by: tuple[str, ...]
    clear_on: date | None
    no_forecast: str | None


class StackCheckedOut(Told):
    title: str
    panel_uid: str | None
    place: str
    is_finished: bool
    below: tuple[str, ...]
    layers: tuple[CheckedLayerOut, ...]
    worst: SeverityName | None
    finish: BoardDays | None


class LearnedShiftOut(Told):
    """Why dry-to-touch is moved, in logarithms, positive is slower: learned effects, what little is known of others,
    the studio's slow change, and the layer's own tests."""

    whole: float
    effects: dict[str, float]
    hardly: float
    change: float
    own: float


class BesideBookOut(Told):
    """A layer by the book and by what the studio's tests taught. ``chosen``: which dates the pages show."""

    layer_uid: str
    start: datetime | None
    is_painted: bool
    chosen: Literal["on", "frozen", "off"]
    book: dict[StageName, BoardDays]
    yours: dict[StageName, BoardDays]
    shift: LearnedShiftOut | None
