"""A plug-in for pytest: a PostgreSQL for the run; the register's own tests then make their registers in a lakehouse.

``python -m pytest -p tests.lakehouse.plugin tests/lakehouse tests/register/test_register.py …`` runs tests/lakehouse as
it stands, and the tests of the store and of exchange as they are, but for those that look at the file itself: every
second of them, and with CALIB_TESTS=whole all.
"""

from __future__ import annotations

import os

import pytest

from calib.register.register import Register
from tests.counts import WHOLE
from tests.lakehouse import catalogue

# Tests that open the register's file by other means, or say of a path what is true of no database.
OF_THE_FILE = (
    "test_where_each_revision_came_from_is_kept",
    "test_a_name_from_before_names_were_limited_is_read_and_withdrawn",
    "test_a_register_that_is_gone_is_said",
    "test_a_register_is_not_made_where_none_is_wanted",
    "test_an_odd_name_is_a_name",
    "test_an_older_duckdb_reads_the_file",
    "test_the_file_is_a_plain_database_that_others_can_read",
    "test_nothing_is_left_beside_the_file_but_its_gate",
    "test_a_unit_that_was_altered_is_told_and_the_others_stand",
)
_as_it_is = Register.__init__


def pytest_configure(config: pytest.Config) -> None:
    """Start a server for all processes of the run."""
    if not hasattr(config, "workerinput"):
        config.catalogue = server = catalogue.Server()  # type: ignore[attr-defined]
        server.start()
        os.environ[catalogue.SERVER] = server.told


def pytest_unconfigure(config: pytest.Config) -> None:
    """Stop it."""
    if hasattr(config, "catalogue"):
        config.catalogue.remove()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is true of a file alone and, but for CALIB_TESTS=whole, every second of the register's tests."""
    own = [item for item in items if _is_own(item)]
    of_the_register = [item for item in items if not _is_own(item) and not item.name.startswith(OF_THE_FILE)]
    left = own + of_the_register[:: 1 if WHOLE else 2]
    config.hook.pytest_deselected(items=[item for item in items if item not in left])
    items[:] = left


def _is_own(item: pytest.Item) -> bool:
    return item.path.parent.name == "lakehouse"


@pytest.fixture(autouse=True)
def _in_a_lakehouse(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if not _is_own(request.node):
        monkeypatch.setattr(Register, "__init__", _opened)


def _opened(self, path, *, simulated=False, create=True, **more):
    if catalogue.instead(path):
        database = catalogue.database_of(path)
        if create and not catalogue.there(database):
            catalogue.made(database, simulated)
        if catalogue.there(database):
            path = catalogue.address(database)
    _as_it_is(self, path, simulated=simulated, create=create, **more)
