"""A plug-in for pytest: a PostgreSQL for the run; the register's own tests then make their registers in a lakehouse.

``python -m pytest -p tests.lakehouse.plugin tests/lakehouse tests/register/test_register.py …`` runs tests/lakehouse as
it stands, and the tests of the store and of exchange as they are, but for those that look at the file itself: one or
more of each kind of doing, and with CALIB_TESTS=whole all.
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
# Of the others, by how their names begin: what is added, amended, withdrawn, undone, imported, backed up, merged,
# handed out, attached and kept of the bench, amid a kill and by two at once.
OF_EACH_KIND = {
    "test_register.py": {
        "test_what_is_added_is_there_and_survives_a_restart",
        "test_known_units_look_like_those_of_a_table",
        "test_adding_a_differing_record_is_a_later_revision_for_review",
        "test_a_record_that_is_right_is_kept_with_the_reason_until_its_readings_change",
        "test_what_was_withdrawn_counts_again_as_it_stood_with_the_mark_that_it_had",
        "test_each_revision_is_undone_by_a_further_one_and_no_other_than_the_last",
        "test_an_amendment_of_what_somebody_revised_meanwhile_is_refused",
        "test_an_import_is_all_or_nothing",
        "test_real_and_simulated_records_never_mix",
        "test_a_backup_is_a_register_with_the_whole_history",
    },
    "test_round_trip.py": {"test_through_the_register"},
    "test_merge.py": {
        "test_an_export_merged_into_an_empty_register_is_that_register_byte_for_byte",
        "test_a_history_that_goes_on_where_the_other_ends_is_an_amendment",
        "test_what_contradicts_is_taken_when_it_is_chosen_as_a_revision_for_review",
        "test_a_merge_that_fails_on_its_way_leaves_nothing",
    },
    "test_package.py": {"test_the_current_view_the_history_and_the_descriptor"},
    "test_attachments.py": {
        "test_taking_off_keeps_the_history_and_attaching_again_brings_it_back",
        "test_a_record_has_so_many_files_and_no_more",
        "test_what_was_altered_is_found_and_not_given_out[UPDATE attached_files",
    },
    "test_attached_bundle.py": {"test_an_export_merged_is_the_same_register_in_records_and_files"},
    "test_bench_book.py": {
        "test_a_kept_meter_is_there_and_survives_a_restart",
        "test_a_dropped_meter_is_off_the_list_keeps_its_history_and_can_come_back",
        "test_a_session_is_taken_up_where_it_was_left",
        "test_sessions_are_listed_the_one_kept_last_first_and_by_state",
        "test_entries_as_long_as_the_limit_are_kept",
        "test_killed_amid_a_keeping_the_session_is_as_it_was_before",
        "test_two_windows_on_one_session_lose_neither",
    },
    "test_bench_units.py": {
        "test_what_is_kept_of_a_unit_is_there_after_a_restart_each_part_beside_the_others",
        "test_undo_brings_back_the_revision_before_and_in_the_end_takes_the_unit_off",
        "test_two_writers_lose_nothing_of_one_unit",
        "test_a_backup_holds_the_bench_and_a_check_counts_it",
    },
    "test_doubtful_page.py": {"test_a_record_is_amended_undone_and_kept"},
}
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
    """Leave out what is true of a file alone and, but for CALIB_TESTS=whole, all but some of each kind."""
    left = [item for item in items if _is_own(item) or _is_chosen(item)]
    config.hook.pytest_deselected(items=[item for item in items if item not in left])
    items[:] = left


def _is_chosen(item: pytest.Item) -> bool:
    if WHOLE:
        return not item.name.startswith(OF_THE_FILE)
    return item.name.startswith(tuple(OF_EACH_KIND.get(item.path.name, {"none"})))


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
