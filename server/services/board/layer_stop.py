"""What is told of a layer to come that a rule stops for good."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class LayerStop:
    """A layer to come, by its ``kind``, that a rule stops however long is waited, or longer than anybody waits:
    ``until`` a day. ``rule`` is "" for those who may not see what the rules say."""

    kind: str
    rule: str
    title: str
    until: date | None = None
