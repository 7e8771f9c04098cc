"""What touch tests taught, as JSON for programs. ``*_effective_d`` are days of the reference room."""

from datetime import date, datetime
from typing import Literal

from server.formats.board_json import StateName, Told

ModeName = Literal["on", "frozen", "off"]


class CalibrationOut(Told):
    """How good promises were: layers came ``delta`` sds later than promised and spread ``kappa`` times as wide;
    ``covers`` of them lay in a promised 80 % range, with its 90 % band; ``is_off``: more than chance."""

    delta: float
    kappa: float
    covers: float
    covers_low: float
    covers_high: float
    is_off: bool
    layers: int


class CorrectionOut(Told):
    """How new dates are put right; ``later`` for a usual range, in logarithms."""

    delta: float
    kappa: float
    later: float
    layers: int


class LearnedEffectOut(Told):
    """One effect on the logarithm of drying days, positive is slower: mean, sd, the sd before any test, and how much
    of that is known now, 0 to 1."""

    name: str
    words: str
    mean: float
    sd: float
    prior_sd: float
    learned: float


class LearnedPairOut(Told):
    """Two effects that the tests do not tell apart."""

    first: str
    second: str
    correlation: float
    mean: float
    learned: float


class LearningChangeOut(Told):
    """How the studio's level moved within the last quarter of a year, in logarithms."""

    mean: float
    sd: float


class LearningOut(Told):
    """``tests`` of ``layers`` taught; ``unanchored`` layers could not. ``gain_nats``: how much likelier the promises
    made what was pressed than the book did. ``hits`` and ``misses`` of the ``scored`` promises. ``version`` of the
    choice, 0 before the first: send it in If-Match to change the choice as you saw it."""

    version: int
    mode: ModeName
    frozen_at: datetime | None
    since_at: datetime | None
    tests: int
    layers: int
    unanchored: int
    scored: int
    hits: int
    misses: int
    gain_nats: float
    calibration: CalibrationOut | None
    recent: CalibrationOut | None
    correction: CorrectionOut | None
    change: LearningChangeOut | None
    effects: tuple[LearnedEffectOut, ...]
    pairs: tuple[LearnedPairOut, ...]


class PromisePressOut(Told):
    test_uid: str
    effective_d: float
    state: StateName
    pressed_at: datetime
    is_doubtful: bool


class PromiseOut(Told):
    """A layer with what was promised when it went on (eight chances in ten) and what was pressed since. ``held``:
    whether it was dry to the touch within the promise; null where the tests leave it open."""

    layer_uid: str
    panel_uid: str
    title: str
    kind: str
    painted_at: datetime
    low_effective_d: float
    middle_effective_d: float
    high_effective_d: float
    held: bool | None
    scored: bool
    presses: tuple[PromisePressOut, ...]


class PromisesOut(Told):
    items: tuple[PromiseOut, ...]
    next_after: str | None


class DoubtfulOut(Told):
    """A test that is more likely wrong than right."""

    test_uid: str
    layer_uid: str
    title: str
    kind: str
    state: StateName
    pressed_at: datetime
    chance: float


class DoubtfulTestsOut(Told):
    items: tuple[DoubtfulOut, ...]
    next_after: str | None


class NextPressOut(Told):
    """When to press a layer next: ``at`` a waking hour when it is dry to the touch with ``chance``."""

    panel_uid: str
    layer_uid: str
    title: str
    kind: str
    at: datetime
    chance: float
    dry_low: date
    dry_central: date
    dry_high: date


class NextPressesOut(Told):
    items: tuple[NextPressOut, ...]
    next_after: str | None
