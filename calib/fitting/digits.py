"""The same digits on one core or on several.

A linear algebra library shares its sums among threads, and sums in another order end in other digits. What must not
depend on the machine runs on one thread; at the sizes of a fit that is the faster way too.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
R = TypeVar("R")


@cache
def _threads() -> ThreadpoolController:
    return ThreadpoolController()


def same_digits(function: Callable[P, R]) -> Callable[P, R]:
    """Run a function with linear algebra on one thread."""

    @wraps(function)
    def alone(*args: P.args, **kwargs: P.kwargs) -> R:
        with _threads().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return alone
