"""How the tests share two processes: a file stays whole, the browser keeps to one and goes first, speed comes last."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from tests.counts import WHOLE

settings.register_profile("calm", deadline=None)  # a busy machine is no fault of what is tested
settings.load_profile("calm")

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # a process of tests for each core, so no second thread in each
MEMORY = Path("/dev/shm")  # a disk that waits for nothing, where the system has one
ROOM = 4 * 10**9  # bytes of it that the tests take at the very most, ten times over

collect_ignore = [] if "CALIB_TEST_CATALOGUE" in os.environ else ["lakehouse"]  # they want PostgreSQL, and its plug-in
FIRST, LAST = "browser", "speed"  # folders whose tests keep to one process


def pytest_configure(config: pytest.Config) -> None:
    """Have the tests' files in memory: each thing written to a register is waited for until the disk has it."""
    chosen = config.option.basetemp or os.environ.get("PYTEST_DEBUG_TEMPROOT")
    if chosen or not os.access(MEMORY, os.W_OK) or os.statvfs(MEMORY).f_flag & os.ST_NOEXEC:
        return
    if shutil.disk_usage(MEMORY).free > ROOM:
        os.environ["PYTEST_DEBUG_TEMPROOT"] = str(MEMORY)  # what pytest makes its folders in, in all its processes


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


@pytest.fixture(scope="session", autouse=True)
def _data_folder_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> None:
    """What is remembered of tables is remembered for no test of another day, nor for whoever runs the tests."""
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))


@pytest.fixture(scope="session", autouse=True)
def _registers_alike_are_copies() -> Iterator[None]:
    """A new register is made once in each process, and copied wherever a test makes one of the same kind and records.

    What other processes do, kills and commands among it, makes each of its own; `CALIB_TESTS=whole` has all made so.
    """
    from calib.register import file

    made: dict[Any, bytes] = {}
    fill = file._fill

    def filled(new: Path, simulated: bool, first: Any) -> Any:
        alike = simulated, file.steps(), None if first is None else first.to_json()
        if alike not in made:
            con = fill(new, simulated, first)
            made[alike] = new.read_bytes()
            return con
        new.write_bytes(made[alike])
        return file.engine()

    with pytest.MonkeyPatch.context() as patch:
        if not WHOLE:
            patch.setattr(file, "_fill", filled)
        yield


@pytest.fixture(autouse=True)
def _main_stays() -> Iterator[None]:
    """A page that is run in this process takes the place of the main module, which a process begun later would run."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main


def _printed(value: float, figure: str) -> None:
    """Assert that a value rounds to the figure as printed: half a unit of its last digit at most, plus rounding."""
    mantissa, _, exponent = figure.partition("e")
    decimals = len(mantissa.partition(".")[2])
    half_unit = 0.5 * 10.0 ** (int(exponent or 0) - decimals)
    assert abs(value - float(figure)) <= half_unit * (1.0 + 1e-6), f"{value!r} does not print as {figure}"


@pytest.fixture(scope="session")
def printed() -> Callable[[float, str], None]:
    """Compare a value with a printed figure, to the last digit that is printed."""
    return _printed
