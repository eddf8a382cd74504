"""Answers that are kept for whoever asks the very same again, variants of one cell above all."""

import pickle
from collections.abc import Callable
from functools import lru_cache, wraps
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


def remembered(most: int) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Let a function keep its latest answers, each found again by the content of what was asked.

    No answer can be stale: the key is all arguments written out, every number to the last bit,
    and the answer is worked out from what is read back from that key, so that nothing else can
    have gone into it. Two of the same content that are written out differently are merely
    answered twice.

    For functions whose answer follows from their arguments alone, and that nobody changes
    afterwards: all who ask share it.

    Args:
        most: How many answers are kept; the one not asked for longest goes first.
    """

    def keeping(function: Callable[P, T]) -> Callable[P, T]:
        work_out: Callable[..., T] = function

        @lru_cache(maxsize=most)
        def answer(asked: bytes) -> T:
            args, named = pickle.loads(asked)
            return work_out(*args, **named)

        @wraps(function)
        def ask(*args: P.args, **named: P.kwargs) -> T:
            return answer(pickle.dumps((args, named), pickle.HIGHEST_PROTOCOL))

        return ask

    return keeping
