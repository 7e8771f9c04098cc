"""The rack: how many wet panels it still takes."""


def to_come_free(wet: int, places: int) -> int:
    """How many of ``wet`` panels must dry before a new one may be started in a rack of ``places``; 0: start one now.

    A full rack waits for one; an overfull rack first for all that lie elsewhere.
    """
    return max(wet - places, 1) if wet >= places else 0
