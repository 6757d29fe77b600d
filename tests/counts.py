"""How many draws, units and windows the tests try: a share of them in the test command, all of them by hand."""

from __future__ import annotations

import os

from hypothesis import settings

WHOLE = os.environ.get("CALIB_TESTS") == "whole"


def share(some: int, whole: int) -> int:
    """The lower of two counts, the higher one where CALIB_TESTS=whole asks for all."""
    return whole if WHOLE else some


FEW = settings(max_examples=share(25, 100), deadline=None)  # examples of laws that hang on a few plain numbers
