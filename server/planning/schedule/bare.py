"""The ways into the compiled search: columns by their bare addresses. Needs numba; `compiled` alone imports it.

Given numpy's arrays, compiled code looks at the sign of every index and hands 21 numbers to every function; given
addresses it does neither and is half as fast again (``./umberday bench plan``). Nobody looks whether an index is within
its array; `shape` makes sure of that. Who calls holds the arrays, so they outlive the call.
"""

from typing import Any

from numba import types
from numba.extending import intrinsic

from server.planning.schedule.columns import Columns
from server.planning.schedule.insert import put_in
from server.planning.schedule.kernel import add, recount, take
from server.planning.schedule.looking import fits, last_free, look_back
from server.planning.schedule.meetings import group_up, regroup
from server.planning.schedule.moves import improve, stand
from server.planning.schedule.orders import reorder


def _taken_for(kind: Any) -> Any:
    """What takes an address for that of the first of many numbers of one kind."""

    @intrinsic
    def taken(_typing: Any, _address: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            return builder.inttoptr(arguments[0], context.get_value_type(signature.return_type))

        return types.CPointer(kind)(types.intp), code  # type: ignore[no-untyped-call]

    return taken


wholes, floats, shorts = map(_taken_for, (types.int64, types.float64, types.int32))


def columns_at(m: int, f: int, t: int) -> Columns:
    """The columns whose arrays begin at these addresses."""
    return Columns(wholes(m), floats(f), shorts(t))


def improve_at(m: int, f: int, t: int, tries: int, temperature: float) -> int:
    return improve(columns_at(m, f, t), tries, temperature)


def reorder_at(m: int, f: int, t: int, tries: int, temperature: float) -> int:
    return reorder(columns_at(m, f, t), tries, temperature)


def group_up_at(m: int, f: int, t: int) -> bool:
    return group_up(columns_at(m, f, t))


def regroup_at(m: int, f: int, t: int, tries: int, temperature: float) -> int:
    return regroup(columns_at(m, f, t), tries, temperature)


def put_in_at(m: int, f: int, t: int, i: int) -> bool:
    return put_in(columns_at(m, f, t), i)


def add_at(m: int, f: int, t: int, s: int, b: int) -> None:
    add(columns_at(m, f, t), s, b)


def take_at(m: int, f: int, t: int, s: int) -> None:
    take(columns_at(m, f, t), s)


def recount_at(m: int, f: int, t: int, i: int) -> None:
    recount(columns_at(m, f, t), i)


def stand_at(m: int, f: int, t: int) -> None:
    stand(columns_at(m, f, t))


def fits_at(m: int, f: int, t: int, s: int, b: int) -> bool:
    return fits(columns_at(m, f, t), s, b)


def look_back_at(m: int, f: int, t: int, s: int, last: int) -> bool:
    return look_back(columns_at(m, f, t), s, last)


def last_free_at(m: int, f: int, t: int, s: int, last: int) -> int:
    return last_free(columns_at(m, f, t), s, last)
