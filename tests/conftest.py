"""How the tests share two processes: a file stays whole, the browser keeps to one and goes first, speed comes last."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("calm", deadline=None)  # a busy machine is no fault of what is tested
settings.load_profile("calm")

FIRST, LAST = "browser", "bench"  # folders whose tests keep to one process


def folder_of(item: str) -> str:
    """The folder below tests/ that a test, by its name from the root, stands in."""
    return item.partition("::")[0].split("/")[1]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What takes one process longest begins first; what measures speed goes last, when the rest is quiet."""
    items.sort(key=lambda item: {FIRST: 0, LAST: 2}.get(folder_of(item.nodeid), 1))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Hand the tests out file by file in their order, those of two folders in one go."""
    from xdist.scheduler import LoadFileScheduling

    class Together(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            folder = folder_of(nodeid)
            return folder if folder in {FIRST, LAST} else nodeid.partition("::")[0]

    config.option.loadscopereorder = False
    return Together(config, log)
