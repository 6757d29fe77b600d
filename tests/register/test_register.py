"""The register: nothing is lost, the latest counts, and real and simulated records never mix."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import pandas as pd
import pytest

import calib.register.register
from calib.errors import InputError, RegisterError
from calib.paths import shipped
from calib.register.file import make
from calib.register.frame import checked, frame_of
from calib.register.records import KnownUnit, columns, record_id
from calib.register.register import ImportReport, Register, default_register_path, practice_register
from calib.register.revisions import changes
from calib.register.tables import read_known

Table = Callable[..., Path]


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return Register(tmp_path / "club.duckdb")


def record(typed: dict[str, str], **changed: str) -> KnownUnit:
    return KnownUnit.parse({**typed, **changed})


def test_what_is_added_is_there_and_survives_a_restart(register: Register, typed: dict[str, str]) -> None:
    assert register.add(record(typed), by="Ferry House") == ImportReport(1, 0, 0)
    with Register(register.path) as again:
        assert again.count() == 1
        assert again.known()["rated_current_ma"].tolist() == [90.0]
        assert again.history("Alder Lane", "AL-7")["by"].tolist() == ["Ferry House"]


def test_known_units_look_like_those_of_a_table(register: Register, table: Table, typed: dict[str, str]) -> None:
    path = table({**typed, "recorded_on": "2024-03-09", "notes": "n"}, {**typed, "contributor": "Quarry Bank"})
    empty, read = register.known(), read_known(path)
    assert register.import_csv(path).added == 2
    assert register.known().equals(read)
    assert empty.dtypes.equals(read.dtypes)
    assert list(empty.columns) == list(columns(KnownUnit))


def test_known_units_stand_in_one_order_whatever_the_order_of_adding(register: Register, typed: dict[str, str]) -> None:
    for unit in ("B", "a", "A"):
        register.add(record(typed, unit=unit))
    register.add(record(typed, unit="Z", contributor="A bench"))
    assert register.known()["unit"].tolist() == ["Z", "A", "B", "a"]


def test_adding_the_same_again_changes_nothing(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed))
    assert register.add(record(typed, rated_current_ma="90.00")) == ImportReport(0, 1, 0)
    assert len(register.revisions()) == 1


def test_adding_a_differing_record_is_a_later_revision_for_review(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed))
    report = register.add(record(typed, rated_current_ma="95", notes="read again"), by="Tin Street", reason="new meter")
    note = "Alder Lane, AL-7: differs in rated_current_ma, notes; kept as revision 2, for review"
    assert report == ImportReport(0, 0, 1, (note,))
    history = register.history("Alder Lane", "AL-7")
    assert history["revision"].tolist() == [1, 2]
    assert history["needs_review"].tolist() == [False, True]
    assert history["rated_current_ma"].tolist() == [90.0, 95.0]
    assert history["reason"].tolist() == ["", "new meter"]
    assert register.known()["rated_current_ma"].tolist() == [95.0]


def test_an_amendment_counts_and_settles_a_review(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed))
    register.add(record(typed, rated_current_ma="95"))
    register.amend(record(typed, rated_current_ma="95"), by="Ferry House", reason="both looked at")
    history = register.history("Alder Lane", "AL-7")
    assert history["action"].tolist() == ["add", "add", "amend"]
    assert history["needs_review"].tolist() == [False, True, False]
    assert history["record_id"].nunique() == 1


def test_a_withdrawn_unit_counts_no_more_and_its_history_stays(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed, notes="kept"))
    register.withdraw("Alder Lane", "AL-7", by="Ferry House", reason="shorted turn")
    assert (register.count(), len(register.known())) == (0, 0)
    history = register.history("Alder Lane", "AL-7")
    assert history["action"].tolist() == ["add", "withdraw"]
    assert history["notes"].tolist() == ["kept", "kept"]
    report = register.add(record(typed, notes="kept"))
    assert report.notes == ("Alder Lane, AL-7: was withdrawn; kept as revision 3, for review",)
    assert register.count() == 1


def test_a_record_that_is_right_is_kept_with_the_reason_until_its_readings_change(
    register: Register, typed: dict[str, str]
) -> None:
    register.add(record(typed))
    register.add(record(typed, rated_current_ma="95"))
    with pytest.raises(InputError, match="is needed to keep a record as it is"):
        register.keep("Alder Lane", "AL-7", reason=" ")
    register.keep("Alder Lane", "AL-7", by="Ferry House", reason="read again")
    (row,) = register.known().to_dict("records")
    assert (row["kept"], row["rated_current_ma"]) == ("read again", 95.0)
    last = register.history("Alder Lane", "AL-7").iloc[-1]
    assert last[["action", "by", "reason", "needs_review"]].tolist() == ["keep", "Ferry House", "read again", False]
    assert register.add(record(typed, rated_current_ma="95")).unchanged == 1  # as a table without that column has it
    standing = record(typed, rated_current_ma="95", kept="read again")
    register.amend(standing.model_copy(update={"notes": "green"}))
    assert register.known()["kept"].tolist() == ["read again"]
    register.amend(standing.model_copy(update={"rated_current_ma": 96.0}))
    assert register.known()["kept"].tolist() == [""]


def test_what_is_not_there_cannot_be_amended_or_withdrawn(register: Register, typed: dict[str, str]) -> None:
    with pytest.raises(InputError, match="'AL-7': the register has no such unit of Alder Lane"):
        register.amend(record(typed))
    register.add(record(typed))
    register.withdraw("Alder Lane", "AL-7")
    for attempt in (lambda: register.withdraw("Alder Lane", "AL-7"), lambda: register.amend(record(typed))):
        with pytest.raises(InputError, match="such unit of Alder Lane any more: it was withdrawn; restore it first"):
            attempt()
    assert len(register.revisions()) == 2
    assert register.history("Tin Street", "AL-7").empty


def test_a_unit_that_is_not_there_is_answered_with_the_tags_that_are_like_it(
    register: Register, typed: dict[str, str]
) -> None:
    for unit, whose in (("AL-7", "Tin Street"), ("AL-7", "Alder Lane"), ("AL-70", "Alder Lane"), ("Q", "Alder Lane")):
        register.add(record(typed, unit=unit, contributor=whose))
    likes = "there is 'AL-7' of Alder Lane, 'AL-70' of Alder Lane and 'AL-7' of Tin Street"
    with pytest.raises(InputError, match=f"unit 'al 7': the register has no such unit of Alder Lane; {likes}"):
        register.record("Alder Lane", "al 7")
    with pytest.raises(InputError, match="no such unit of Alder Lane; look the unit and its contributor up"):
        register.withdraw("Alder Lane", "zz")
    assert register.record("Tin Street", "AL-7") == record(typed, contributor="Tin Street")


def test_what_was_withdrawn_counts_again_as_it_stood_with_the_mark_that_it_had(
    register: Register, typed: dict[str, str]
) -> None:
    register.add(record(typed))
    register.add(record(typed, rated_current_ma="95", recorded_on="2024-03-09"))
    with pytest.raises(InputError, match="unit 'AL-7': the unit of Alder Lane was not withdrawn"):
        register.restore("Alder Lane", "AL-7")
    register.withdraw("Alder Lane", "AL-7", reason="thought to be shorted")
    register.restore("Alder Lane", "AL-7", by="Ferry House", reason="it was not")
    history = register.history("Alder Lane", "AL-7")
    assert history["action"].tolist() == ["add", "add", "withdraw", "restore"]
    assert history["needs_review"].tolist() == [False, True, False, True]
    assert register.record("Alder Lane", "AL-7") == record(typed, rated_current_ma="95", recorded_on="2024-03-09")
    register.restore("Alder Lane", "AL-7", revision=1)
    assert register.record("Alder Lane", "AL-7") == record(typed)
    for revision, said in ((1, "the record stands as it stood then"), (9, "no such revision: its last is 5")):
        with pytest.raises(InputError, match=f"revision '{revision}': .*{said}"):
            register.restore("Alder Lane", "AL-7", revision=revision)
    with pytest.raises(InputError, match="no such unit of Tin Street; there is 'AL-7' of Alder Lane"):
        register.restore("Tin Street", "AL-7")
    assert len(register.revisions()) == 5


def test_each_revision_is_undone_by_a_further_one_and_no_other_than_the_last(
    register: Register, typed: dict[str, str]
) -> None:
    def stands() -> float | None:
        known = register.known()
        return None if known.empty else float(known["rated_current_ma"].iloc[0])

    mine = ("Alder Lane", "AL-7")
    found = []
    for act in (
        lambda: register.add(record(typed)),
        lambda: register.amend(record(typed, rated_current_ma="9")),
        lambda: register.withdraw(*mine),
        lambda: register.restore(*mine),
    ):
        before = stands()
        act()
        revision = len(register.revisions())
        after = stands()
        register.undo(*mine, revision, by="Tin Street")
        found.append((before, after, stands()))
        assert register.history(*mine)["reason"].iloc[-1] == f"revision {revision} undone"
        with pytest.raises(InputError, match=f"revised meanwhile by Tin Street: revision {revision + 1}"):
            register.undo(*mine, revision)
        register.undo(*mine, revision + 1)
        assert stands() == after
    assert found == [(None, 90.0, None), (90.0, 9.0, 90.0), (9.0, None, 9.0), (None, 9.0, None)]


def test_an_amendment_of_what_somebody_revised_meanwhile_is_refused(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed))
    looked_at = register.record("Alder Lane", "AL-7")
    register.amend(record(typed, notes="plate read again"), by="Tin Street", instead_of=looked_at)
    with pytest.raises(InputError, match="revised meanwhile by Tin Street: revision 2, amend; look at its history"):
        register.amend(record(typed, rated_current_ma="95"), instead_of=looked_at)
    assert len(register.revisions()) == 2


def test_a_record_that_differs_is_refused_where_it_may_be_another_unit_s(
    register: Register, typed: dict[str, str]
) -> None:
    for _ in range(2):  # the same again is no other
        register.add(record(typed, unit="A L'7"), revise=False)
    with pytest.raises(InputError, match="rated_current_ma, notes is another; if it is the same unit") as refused:
        register.add(record(typed, unit="A L'7", rated_current_ma="95", notes="again"), revise=False)
    (fault,) = refused.value.faults
    assert fault.code == "exists"
    assert """calib amend 'A L'"'"'7' --contributor 'Alder Lane' --why""" in str(fault)
    assert register.known()["rated_current_ma"].tolist() == [90.0]


def test_what_each_revision_changed_is_told_by_column(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed, notes="n"))
    register.amend(record(typed, rated_current_ma="95", tongue_mm="25.4", stack_mm="28"))
    register.withdraw("Alder Lane", "AL-7")
    told = changes(register.history("Alder Lane", "AL-7")).to_dict("split")["data"]
    assert sorted(told) == [
        [2, "notes", "n", None],
        [2, "rated_current_ma", 90.0, 95.0],
        [2, "stack_mm", None, 28.0],
        [2, "tongue_mm", None, 25.4],
    ]


def test_times_are_utc_and_in_order(register: Register, typed: dict[str, str]) -> None:
    before = datetime.now(UTC)
    register.add(record(typed))
    register.add(record(typed, unit="AL-8"))
    made = register.revisions()["made_at"].tolist()
    assert before <= made[0] <= made[1] <= datetime.now(UTC)


def test_an_import_is_all_or_nothing(register: Register, table: Table, typed: dict[str, str]) -> None:
    with pytest.raises(InputError, match="row 3, awg '99'"):
        register.import_csv(table(typed, {**typed, "unit": "AL-8", "awg": "99"}, header=[*typed, "awg"]))
    assert len(register.revisions()) == 0


STOP = "insulation 3 Mohm"


def stopped(typed: dict[str, str]) -> KnownUnit:
    """A record that no reading of a file, a form or an option gives: a copy with a stop put into it."""
    return record(typed).model_copy(update={"stop": STOP})


@pytest.mark.parametrize(
    "bring",
    [
        lambda register, one: register.add(one),
        lambda register, one: register.amend(one),
        lambda register, one: register.import_table(frame_of(KnownUnit, [one])),
    ],
    ids=["add", "amend", "import_table"],
)
def test_a_stopped_unit_comes_in_by_no_door(
    register: Register, typed: dict[str, str], bring: Callable[[Register, KnownUnit], object]
) -> None:
    register.add(record(typed))
    with pytest.raises(InputError) as told:
        bring(register, stopped(typed))
    (fault,) = told.value.faults
    assert (fault.column, fault.value) == ("stop", STOP)
    assert (fault.problem, fault.remedy[:34]) == (
        "a unit that must not be fed is no known unit",
        "clear it with the reason in stop_c",
    )
    assert register.known()["stop"].tolist() == [""]
    bring(register, stopped(typed).model_copy(update={"stop_cleared": "dried: 400 Mohm"}))
    assert register.known()["stop"].tolist() == [STOP]


def test_what_is_improbable_is_noted_with_what_was_brought_in(
    register: Register, table: Table, typed: dict[str, str]
) -> None:
    hot = {**typed, "winding_temp_c": "70"}
    said = (
        "winding_temp_c: 70 °C is unusual: most are 5 to 40 °C; did you mean 21.111 °C (typed in °F) or 7 °C (the "
        "decimal point slipped by 1 place)?"
    )
    assert register.add(record(hot)).notes == (f"AL-7: {said}",)
    path = table(typed | {"unit": "AL-8"}, hot | {"unit": "AL-9"})
    report = register.import_csv(path)
    assert (report.added, report.notes) == (2, (f"{path}, row 3, AL-9: {said}",))


def test_an_import_tells_what_became_of_the_records(register: Register, table: Table, typed: dict[str, str]) -> None:
    register.import_csv(table(typed, {**typed, "unit": "AL-8"}))
    rows = [typed, {**typed, "unit": "AL-8", "hv_v": "28"}, {**typed, "unit": "AL-9"}, typed]
    report = register.import_csv(table(*rows), by="Tin Street", reason="spring clean")
    assert (report.added, report.unchanged, report.revised) == (1, 1, 1)
    assert "row 5: the same as row 2, taken once" in report.notes[0]
    assert report.notes[1] == "Alder Lane, AL-8: differs in hv_v; kept as revision 2, for review"
    assert register.revisions()["by"].tolist() == ["", "", "Tin Street", "Tin Street"]


def test_a_table_without_records_adds_none(register: Register, table: Table, typed: dict[str, str]) -> None:
    path = table(typed)
    path.write_text(path.read_text().splitlines()[0])
    assert register.import_csv(path) == ImportReport(0, 0, 0)


def test_who_and_why_are_one_line(register: Register, typed: dict[str, str]) -> None:
    with pytest.raises(InputError, match="by .*: runs over more than one line"):
        register.add(record(typed), by="two\nlines")
    with pytest.raises(InputError, match="reason .*: has the character U\\+0007 .a control character."):
        register.withdraw("Alder Lane", "AL-7", reason="\x07")


def test_a_name_from_before_names_were_limited_is_read_and_withdrawn(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed))
    old, identity = "A\u202e" + "x" * 300, record_id("Alder Lane", "A\u202e" + "x" * 300)
    with duckdb.connect(register.path) as con:
        con.execute("UPDATE revisions SET unit = ?, record_id = ?", [old, identity])
    known = register.known()
    assert known["unit"].tolist() == [old]
    assert checked(KnownUnit, known[known["rated_current_ma"] > 1]).equals(known)
    register.withdraw("Alder Lane", old)
    assert register.count() == 0
    with pytest.raises(InputError, match="by .*: has the character U\\+202E"):
        register.withdraw("Alder Lane", "AL-7", by="\u202eme")


def test_real_and_simulated_records_never_mix(tmp_path: Path, table: Table, typed: dict[str, str]) -> None:
    made_up = {**typed, "simulated": "true"}
    real, practice = Register(tmp_path / "real.duckdb"), Register(tmp_path / "practice.duckdb", simulated=True)
    assert (real.is_simulated, practice.is_simulated) == (False, True)
    for register, wrong, remedy in (
        (real, made_up, "add them to a simulated register, such as the practice one"),
        (practice, typed, "add them to a register of real readings"),
    ):
        for attempt in (register.add, register.amend):
            with pytest.raises(InputError, match=remedy):
                attempt(KnownUnit.parse(wrong))
        with pytest.raises(InputError, match=remedy):
            register.import_csv(table(wrong))
        assert len(register.revisions()) == 0
    practice.add(KnownUnit.parse(made_up))
    assert practice.known()["simulated"].tolist() == [True]
    assert Register(practice.path).is_simulated
    with pytest.raises(InputError, match="the register holds real readings"):
        Register(real.path, simulated=True)


def test_the_practice_register_is_made_once_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CALIB_REGISTER", str(tmp_path / "mine.duckdb"))
    assert default_register_path() == tmp_path / "mine.duckdb"
    practice = practice_register()
    assert practice.path == tmp_path / "practice.duckdb"
    assert practice.is_simulated
    assert practice.known()["simulated"].all()
    held = practice.count()
    assert held > 0
    practice.withdraw(*practice.known().loc[0, ["contributor", "unit"]])
    assert practice_register().count() == held - 1


def test_a_practice_register_of_an_earlier_version_is_renewed_and_keeps_what_its_user_did(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: dict[str, str]
) -> None:
    """Made when one record was not there yet, one read otherwise, and one more was; then its user put one in, withdrew
    one and changed one."""
    come = read_known(shipped("datasets/practice/known.csv"))
    tags = [tuple(one) for one in come[["contributor", "unit"]].to_numpy()]
    before = pd.concat([come.iloc[1:], come.iloc[[0]].assign(unit="no more")], ignore_index=True)
    before.loc[0, "hv_resistance_ohm"] *= 1.1
    make(tmp_path / "practice.duckdb", True, before)
    own = Register(tmp_path / "practice.duckdb")
    own.add(record(typed, unit="mine", simulated="true"))
    own.withdraw(*tags[2])
    own.amend(own.record(*tags[3]).model_copy(update={"notes": "looked at"}))
    for _ in range(2):
        monkeypatch.setattr(calib.register.register, "_RENEWED", set())
        known = practice_register(own.path).known().set_index(["contributor", "unit"])
        assert {*known.index} == {*tags, (typed["contributor"], "mine")} - {tags[2]}
        assert known.loc[tags[3], "notes"] == "looked at"
        assert known.loc[tags[:2], "hv_resistance_ohm"].tolist() == come["hv_resistance_ohm"].tolist()[:2]
        assert len(own.revisions()) == len(before) + 3 + 3
    own.withdraw(*tags[0])
    monkeypatch.setattr(calib.register.register, "_RENEWED", set())
    assert tags[0] not in {*practice_register(own.path).known().set_index(["contributor", "unit"]).index}


def test_the_default_register_is_in_the_users_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CALIB_REGISTER", raising=False)
    for name in ("HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "user"))
    path = default_register_path()
    assert (path.name, path.parent.name) == ("register.duckdb", "calib")
    if sys.platform != "win32":  # where no variable moves the folder
        assert Register(path).count() == 0  # its folder is made, no other is
        assert path.is_relative_to(tmp_path)


def test_a_register_is_not_made_where_none_is_wanted(tmp_path: Path) -> None:
    with pytest.raises(RegisterError, match=r"none\.duckdb: there is no such register"):
        Register(tmp_path / "none.duckdb", create=False)
    with pytest.raises(RegisterError, match="there is no folder"):
        Register(tmp_path / "none" / "none.duckdb")
    assert list(tmp_path.glob("*.duckdb")) == []


def test_an_odd_name_is_a_name(tmp_path: Path, typed: dict[str, str]) -> None:
    register = Register(tmp_path / 'the club\'s; "old" µ.duckdb')
    register.add(record(typed))
    assert register.count() == 1
    assert "µ" in repr(register)


def test_a_backup_is_a_register_with_the_whole_history(
    register: Register, tmp_path: Path, typed: dict[str, str]
) -> None:
    register.add(record(typed))
    register.amend(record(typed, rated_current_ma="95"))
    copy = Register(register.backup(tmp_path / "copy.duckdb"))
    assert copy.revisions().equals(register.revisions())
    register.withdraw("Alder Lane", "AL-7")
    assert copy.count() == 1
    with pytest.raises(InputError, match="there is a file of that name"):
        register.backup(copy.path)
    with pytest.raises(InputError, match="there is no such folder"):
        register.backup(tmp_path / "none" / "copy.duckdb")


def test_an_older_duckdb_reads_the_file(register: Register, tmp_path: Path, typed: dict[str, str]) -> None:
    """DuckDB 1.4 and 1.5 read storage versions 64 to 68: eight bytes of the file's head, after the letters DUCK."""
    register.add(record(typed))
    for path in (register.path, register.backup(tmp_path / "copy.duckdb")):
        head = path.read_bytes()[:20]
        assert head[8:12] == b"DUCK"
        assert 64 <= int.from_bytes(head[12:20], "little") <= 68


def test_the_file_is_a_plain_database_that_others_can_read(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed))
    with duckdb.connect(str(register.path), read_only=True) as con:
        assert con.execute("SELECT unit, rated_current_ma FROM current_units").fetchall() == [("AL-7", 90.0)]
    constraints = "SELECT constraint_type FROM duckdb_constraints() WHERE constraint_type <> 'NOT NULL'"
    with duckdb.connect(str(register.path), read_only=True) as con:
        assert con.execute(constraints).fetchall() == []
        assert con.execute("SELECT * FROM duckdb_sequences()").fetchall() == []


def test_nothing_is_left_beside_the_file_but_its_gate(register: Register, typed: dict[str, str]) -> None:
    register.add(record(typed))
    register.backup(register.path.with_name("copy.duckdb"))
    names = {path.name for path in register.path.parent.iterdir()}
    assert names - {"club.duckdb.gate"} == {"club.duckdb", "copy.duckdb"}
