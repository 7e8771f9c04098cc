"""The stateless calls: JSON in, JSON out, one code path for the API and the command.

No web and no database here, so that ``./umberday estimate`` starts fast.
"""

from server.formats.calls.answer import answer
from server.formats.calls.call import NAMES, Call, find
from server.formats.calls.problems import CallProblem, FieldProblem

__all__ = ["NAMES", "Call", "CallProblem", "FieldProblem", "answer", "find"]
