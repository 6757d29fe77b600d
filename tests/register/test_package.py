"""Tables out: the data package holds what the register holds, and Frictionless, an independent reader, accepts it."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import frictionless
import pytest

from calib.errors import InputError
from calib.register.frame import frame_of
from calib.register.records import KnownUnit, columns
from calib.register.register import Register, practice_register
from calib.register.tables import read_known
from tests.register.conftest import TYPED

TEXTS = ("unit", "contributor", "notes", "by", "reason")


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An export of two units and five revisions; not to be changed."""
    typed, place = dict(TYPED), tmp_path_factory.mktemp("exported")
    register = Register(place / "club.duckdb")
    full = {"tongue_mm": "28.6", "stack_mm": "0.1e2", "recorded_on": "2024-03-09", "notes": 'two\nlines, "quoted"'}
    record = KnownUnit.parse({**typed, **full, "hv_resistance_ohm": "310.1234567890123"})
    register.add(record)
    register.add(KnownUnit.parse({**typed, "unit": "AL-8"}))
    register.amend(KnownUnit.parse({**typed, "rated_current_ma": "95"}), by="Ferry House", reason="read again")
    register.amend(record, by="Ferry House", reason="the first was right")
    register.withdraw("Alder Lane", "AL-8", reason="scrapped")
    register.export(place / "out")
    return place / "out"


@pytest.fixture
def folder(exported: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(exported, tmp_path / "out"))


def rows(path: Path) -> list[dict[str, str]]:
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_current_view_the_history_and_the_descriptor(folder: Path) -> None:
    assert sorted(path.name for path in folder.iterdir()) == ["datapackage.json", "known.csv", "revisions.csv"]
    known, revisions = rows(folder / "known.csv"), rows(folder / "revisions.csv")
    assert [row["unit"] for row in known] == ["AL-7"]
    assert known[0]["hv_resistance_ohm"] == "310.1234567890123"
    assert (known[0]["stack_mm"], known[0]["no_load_v"], known[0]["centre_tapped"]) == ("10", "", "true")
    assert [(row["unit"], row["revision"], row["action"], row["by"]) for row in revisions] == [
        ("AL-7", "1", "add", ""),
        ("AL-8", "1", "add", ""),
        ("AL-7", "2", "amend", "Ferry House"),
        ("AL-7", "3", "amend", "Ferry House"),
        ("AL-8", "2", "withdraw", ""),
    ]
    assert set(columns(KnownUnit)) < set(revisions[0])
    assert all(row["made_at"].endswith("Z") for row in revisions)


def test_what_is_handed_out_reads_back(folder: Path) -> None:
    read = read_known(folder / "known.csv")
    assert read["notes"].tolist() == ['two\nlines, "quoted"']
    assert read["hv_resistance_ohm"].tolist() == [310.1234567890123]


def test_frictionless_accepts_the_package(folder: Path) -> None:
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert report.valid, report.flatten(["title", "fieldName", "message"])
    assert report.stats["tasks"] == 2


@pytest.mark.parametrize(("was", "spoilt"), [("nameplate", "hearsay"), ("310.12", "x310.12"), (",95,", ",950000,")])
def test_frictionless_refuses_a_spoiled_one(folder: Path, was: str, spoilt: str) -> None:
    path = folder / "revisions.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(was, spoilt, 1), encoding="utf-8")
    assert not frictionless.validate(str(folder / "datapackage.json")).valid


def test_the_descriptor_gives_units_and_limits(folder: Path) -> None:
    known = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["resources"][0]
    described = {field["name"]: field for field in known["schema"]["fields"]}
    assert described["rated_current_ma"]["unit"] == "mA"
    assert described["rated_current_ma"]["constraints"] == {"required": True, "minimum": 0.1, "maximum": 100000.0}
    assert known["schema"]["primaryKey"] == ["contributor", "unit"]


def test_simulated_records_say_so_in_the_package(tmp_path: Path) -> None:
    practice_register(tmp_path / "practice.duckdb").export(tmp_path / "out")
    described = json.loads((tmp_path / "out" / "datapackage.json").read_text(encoding="utf-8"))
    assert "Simulated" in described["title"]
    assert frictionless.validate(str(tmp_path / "out" / "datapackage.json")).valid


def test_a_place_where_nothing_can_be_written(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file in the folder's place")
    with pytest.raises(InputError, match="cannot be written into, it is a file"):
        Register(tmp_path / "club.duckdb").export(tmp_path / "out")


def test_a_folder_s_files_from_elsewhere_are_not_replaced_unasked(tmp_path: Path) -> None:
    register, folder = Register(tmp_path / "club.duckdb"), tmp_path / "out"
    folder.mkdir()
    (folder / "known.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="no export of calib describes; name another folder, or replace them with"):
        register.export(folder)
    assert (folder / "known.csv").read_text(encoding="utf-8") == "mine"
    register.export(folder, force=True)
    register.export(folder)  # its own by now
    assert sorted(path.name for path in folder.iterdir()) == ["datapackage.json", "known.csv", "revisions.csv"]
    with pytest.raises(InputError, match="holds an export of real units, and these are simulated"):
        practice_register(tmp_path / "practice.duckdb").export(folder)


def test_a_link_planted_in_the_folder_is_replaced_and_not_followed(tmp_path: Path) -> None:
    outside, folder = tmp_path / "outside.txt", tmp_path / "out"
    outside.write_text("untouched", encoding="utf-8")
    register = Register(tmp_path / "club.duckdb")
    register.export(folder)
    for name in ("known.csv", "revisions.csv", ".known.csv.new", ".datapackage.json.new", ".export.lock"):
        (folder / name).unlink(missing_ok=True)
        (folder / name).symlink_to(outside)
    register.export(folder)
    assert outside.read_text(encoding="utf-8") == "untouched"
    assert not (folder / "known.csv").is_symlink()


def test_a_table_that_its_descriptor_does_not_describe_is_refused(tmp_path: Path, typed: dict[str, str]) -> None:
    register, folder = Register(tmp_path / "club.duckdb"), tmp_path / "out"
    register.add(KnownUnit.parse(typed))
    known, *_ = register.export(folder)
    told = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["resources"][0]
    assert told["bytes"] == known.stat().st_size
    assert len(read_known(known)) == 1
    before = known.read_bytes()
    register.add(KnownUnit.parse({**typed, "unit": "AL-8"}))
    register.export(folder)
    known.write_bytes(before)  # as if one export had been cut short by another
    with pytest.raises(InputError, match="is not the table that datapackage.json beside it describes"):
        register.import_csv(known)


def test_no_text_is_handed_out_as_a_formula_and_all_comes_back(tmp_path: Path, typed: dict[str, str]) -> None:
    register = Register(tmp_path / "club.duckdb")
    texts = ["=1+1", "+1", "-1", "@sum", "'=1", "'", "''", "plain", "o'clock", "=HYPERLINK()"]
    records = [KnownUnit.parse({**typed, "unit": text, "contributor": text, "notes": text}) for text in texts]
    register.import_table(frame_of(KnownUnit, records), by="-1", reason="=1")
    known, revisions, _ = register.export(tmp_path / "out")
    for path in (known, revisions):
        cells = [cell for row in rows(path) for name, cell in row.items() if name in TEXTS]
        assert len(cells) >= 3 * len(texts)
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in cells)
    assert read_known(known).equals(register.known())
    assert register.import_csv(known).unchanged == len(texts)
