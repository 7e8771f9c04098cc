"""How many threads one search of this process may use: as many as whoever started it says, one unless told."""

import os

MOST = 4  # more desks than that find little that these do not

_allowed = [1]


def there() -> int:
    """The cores that this process may run on."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def share(searches: int) -> int:
    """The threads for one of so many searches that run at once."""
    return max(1, min(MOST, there() // max(1, searches)))


def allow(count: int) -> None:
    _allowed[0] = count


def allowed() -> int:
    return _allowed[0]
