"""What ``import calib`` offers."""

from __future__ import annotations

import subprocess
import sys

import pytest

import calib


@pytest.mark.parametrize("name", calib.__all__)
def test_every_public_name_is_there_and_documented(name: str) -> None:
    value = getattr(calib, name)
    assert name in dir(calib)
    assert not callable(value) or value.__doc__


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="module 'calib' has no attribute 'rate'"):
        _ = calib.rate


@pytest.mark.parametrize(
    "before",
    ["", "import calib.fit", "import calib.fit.multiplier", "from calib.fit import multiplier", "calib.Multiplier"],
)
def test_fit_can_be_called_whatever_was_imported_before(before: str) -> None:
    code = f"import calib\n{before}\nimport calib.fit.rows\nprint(callable(calib.fit), calib.fit.rows.__name__)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "True calib.fit.rows\n"
