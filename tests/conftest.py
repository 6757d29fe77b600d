"""How the tests share two processes: a file stays whole, the browser keeps to one, what measures speed comes last."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("calm", deadline=None)  # a busy machine is no fault of what is tested
settings.load_profile("calm")

HERE = Path(__file__).resolve().parent
TOGETHER = ("browser", "bench")  # folders whose tests keep to one process
LAST = "bench"


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give each test the group that keeps it in one process with its neighbours; what measures speed goes last."""
    for item in items:
        place = item.path.relative_to(HERE)
        folder = place.parts[0]
        item.add_marker(pytest.mark.xdist_group(folder if folder in TOGETHER else place.as_posix()))
    items.sort(key=lambda item: item.path.relative_to(HERE).parts[0] == LAST)
