"""The stateless calls: JSON in, JSON out, one code path for the API and the command.

No web and no database here, so that ``./umberday estimate`` starts fast.
"""

from server.formats.calls.answer import CALLS, answer
from server.formats.calls.problems import CallProblem, FieldProblem

__all__ = ["CALLS", "CallProblem", "FieldProblem", "answer"]
