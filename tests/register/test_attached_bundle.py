"""Attached files in a bundle: the same come out as went in, and what is not what it says is refused by name."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile, ZipInfo

import frictionless
import pytest

from calib.errors import InputError
from calib.register.attachments import MOST_BYTES, EvidenceFile, evidence_of, of_record
from calib.register.merge import read_bundle, unzipped
from calib.register.records import KnownUnit
from calib.register.register import Register
from calib.register.tables import sha256_of
from tests.register.conftest import TYPED
from tests.register.test_evidence_file import PDF, picture

OWNER = of_record("Alder Lane", "AL-7")
PLATE, SHEET = evidence_of(picture(), "=plate.jpg"), EvidenceFile("sheet.pdf", "application/pdf", PDF)
OFF = evidence_of(picture("PNG"), "Cafe\u0301.png")


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A register of two units, one of them with a photograph and a PDF, and with a picture that was taken off."""
    place = tmp_path_factory.mktemp("club")
    register = Register(place / "club.duckdb")
    for unit in ("AL-7", "AL-8"):
        register.add(KnownUnit.parse({**TYPED, "unit": unit}))
    register.attach(OWNER, PLATE, "me", "its plate")
    for one in (SHEET, OFF):
        register.attach(OWNER, one)
    register.detach(OWNER, OFF.sha256, reason="another's")
    register.export(place / "out", licence="CC0-1.0")
    return place


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_an_export_merged_is_the_same_register_in_records_and_files(club: Path, tmp_path: Path) -> None:
    new, old = Register(tmp_path / "new.duckdb"), Register(club / "club.duckdb")
    preview = new.merge(club / "out", preview=True)
    assert (preview.attached, str(preview)[-17:]) == (4, "attached files: 4")
    assert new.attachments(OWNER) == ()
    assert new.merge(club / "out", by="Tin Street").attached == 4
    assert new.revisions().equals(old.revisions())
    assert new.attachment_revisions().equals(old.attachment_revisions())
    assert new.attachments(OWNER) == old.attachments(OWNER)
    assert [new.attachment(one) for one in new.attachments(OWNER)] == [PLATE.content, SHEET.content]
    new.export(tmp_path / "again", licence="CC0-1.0")
    assert files_of(tmp_path / "again") == files_of(club / "out")
    assert new.merge(club / "out").attached == 0
    old = Register(shutil.copy(club / "club.duckdb", tmp_path / "old.duckdb"))
    new.detach(OWNER, SHEET.sha256)  # goes on where the other ends
    new.export(tmp_path / "again")
    assert f"attachments/{SHEET.sha256}.pdf" not in files_of(tmp_path / "again")  # of the earlier export
    assert old.merge(tmp_path / "again").attached == 1
    assert [one.name for one in old.attachments(OWNER)] == ["=plate.jpg"]
    assert old.merge(club / "out").attached == 0


def test_frictionless_accepts_the_package_and_finds_what_was_changed(club: Path, tmp_path: Path) -> None:
    assert frictionless.validate(str(club / "out" / "datapackage.json")).valid
    told = json.loads((club / "out" / "datapackage.json").read_text(encoding="utf-8"))
    paths = [one["path"] for one in told["resources"]]
    named = sorted([f"attachments/{PLATE.sha256}.jpg", f"attachments/{SHEET.sha256}.pdf"])
    assert paths == ["known.csv", "revisions.csv", "attachments.csv", *named]
    spoilt = shutil.copytree(club / "out", tmp_path / "out")
    (spoilt / "attachments" / f"{SHEET.sha256}.pdf").write_bytes(PDF + b" ")
    assert not frictionless.validate(str(spoilt / "datapackage.json")).valid


def test_a_zip_and_loose_files_are_read_as_the_folder_is(club: Path, tmp_path: Path) -> None:
    packed = Path(shutil.make_archive(str(tmp_path / "out"), "zip", club, "out"))
    loose = {path.rpartition("/")[2]: raw for path, raw in files_of(club / "out").items()}
    whole = read_bundle(club / "out")
    for found in (read_bundle(packed), read_bundle(loose, "theirs")):
        assert dict(found.attached.files) == dict(whole.attached.files)


Files = dict[str, bytes]
AT_PLATE, AT_SHEET = f"attachments/{PLATE.sha256}.jpg", f"attachments/{SHEET.sha256}.pdf"


def table(was: str, now: str, count: int = -1) -> Callable[[Files], Files]:
    """The bundle with its table of attachments changed and described anew."""

    def spoil(files: Files) -> Files:
        raw = files["attachments.csv"].decode()
        assert was in raw
        files |= {"attachments.csv": raw.replace(was, now, count).encode()}
        told = json.loads(files["datapackage.json"])
        told["resources"][2]["hash"] = f"sha256:{sha256_of(files['attachments.csv'])}"
        return files | {"datapackage.json": json.dumps(told).encode()}

    return spoil


def path(now: str) -> Callable[[Files], Files]:
    return lambda files: (
        files | {"datapackage.json": files["datapackage.json"].replace(AT_PLATE.encode(), now.encode())}
    )


def without(name: str) -> Callable[[Files], Files]:
    return lambda files: {one: raw for one, raw in files.items() if one != name}


def renamed(content: bytes) -> Callable[[Files], Files]:
    """The bundle with something else in the photograph's place, its hash and name right."""

    def spoil(files: Files) -> Files:
        sha256 = sha256_of(content)
        files = table(PLATE.sha256, sha256)({**files, f"attachments/{sha256}.jpg": content})
        files = table(f"image/jpeg,{len(PLATE.content)}", f"image/jpeg,{len(content)}")(files)
        return files

    return spoil


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (
            lambda files: files | {AT_PLATE: b"\xff\xd8\xffother"},
            "jpg '=plate.jpg': is not the file that was attached: its hash",
        ),
        (lambda files: files | {AT_PLATE: bytes(MOST_BYTES + 1)}, "jpg '=plate.jpg': has more than 10 MB"),
        (without(AT_SHEET), f"theirs/{AT_SHEET} 'sheet.pdf': is missing"),
        (renamed(b"<html>"), "jpg '=plate.jpg': is no photograph \\(JPEG\\), whatever it says"),
        (renamed(picture(comment=b"x")), "jpg '=plate.jpg': has more in it than the picture"),
        (without("attachments.csv"), "theirs/attachments.csv: is missing"),
        (lambda files: files | {"attachments.csv": b"x"}, "attachments.csv: is not the table that datapackage.json"),
        (table(",image/jpeg,", ",text/html,"), "media 'text/html': is not one of the choices"),
        (table(",attach,", ",put,", 1), "action 'put': is not one of the choices"),
        (table(f",{len(PDF)},", ",0,"), "size '0': is no length of a file"),
        (table(PLATE.sha256, "../../x"), "name '=plate.jpg': is no hash of a file|sha256 '=plate.jpg': is no hash"),
        (table("sheet.pdf", "../sheet.pdf"), "name '../sheet.pdf': is no plain name of a file"),
        (table(OWNER.identity, "0" * 32), "is attached to a record that the bundle has not"),
        (table(",1,attach", ",2,attach", 1), "its revisions are not numbered 1, 2 and on"),
        (path("../../etc/passwd"), "path '../../etc/passwd': is no file of an export"),
        (path("/etc/passwd"), "path '/etc/passwd': is no file of an export"),
        (path("attachments/x.jpg"), "path 'attachments/x.jpg': is no file of an export"),
    ],
)
def test_what_is_not_what_it_says_is_refused_by_name(club: Path, spoil: Callable[[Files], Files], said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_bundle(spoil(files_of(club / "out")), "theirs")


@pytest.mark.skipif(not hasattr(__import__("os"), "mkfifo"), reason="links are a matter of POSIX systems here")
def test_links_in_a_folder_are_refused(club: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(club / "out", tmp_path / "out"))
    place = folder / AT_PLATE
    shutil.move(place, tmp_path / "moved.jpg")
    place.symlink_to(tmp_path / "moved.jpg")
    with pytest.raises(InputError, match=f"{AT_PLATE}: is a link to another place"):
        read_bundle(folder)
    shutil.move(folder / "attachments", tmp_path / "elsewhere")
    (folder / "attachments").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="out/attachments: is a link to another place"):
        read_bundle(folder)


@pytest.mark.parametrize("entry", ["../known.csv", "/known.csv", "C:\\known.csv", "a\\..\\..\\known.csv", "link"])
def test_a_zip_that_leads_out_is_refused(entry: str) -> None:
    packed, told = BytesIO(), ZipInfo(entry)
    told.external_attr = (0o120777 << 16) if entry == "link" else 0
    with ZipFile(packed, "w") as made:
        made.writestr(told, "x")
    with pytest.raises(InputError, match=r"theirs\.zip '.+': leads out of the bundle"):
        unzipped(packed.getvalue(), "theirs.zip")
