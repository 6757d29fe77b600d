"""The page on a register in a lakehouse: it works as on a file, and a catalogue that is away takes nothing typed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import calib
from calib.errors import CannotError, RegisterError
from calib.register import lakehouse, revisions
from calib.register.safekeeping import check_register
from tests.app.test_register_pages import add
from tests.app.visits import KNOWN, opened, settle, text_of, unescaped
from tests.lakehouse import catalogue


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[catalogue.Server]:
    """A server of the test's own, with an empty register that the page opens."""
    server = catalogue.Server()
    server.start()
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv(catalogue.SERVER, server.told)
    catalogue.asked("CREATE DATABASE club")
    (data := tmp_path / "data").mkdir()
    calib.set_up_lakehouse(address := f"{catalogue.address('club')} password=moth", data)
    monkeypatch.setenv("CALIB_REGISTER", address)
    yield server
    lakehouse.let_go()
    server.remove()


def test_a_catalogue_that_stops_takes_nothing_typed_and_loses_nothing(
    server: catalogue.Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is stopped as a power cut would: while somebody types, and while a table is brought in."""
    at = opened(KNOWN)
    server.stop()
    add(at)
    said = unescaped(text_of(at))
    assert "its catalogue in PostgreSQL cannot be reached" in said
    assert "moth" not in said
    server.start()
    at.button(key="try_again").click().run()
    at.button(key="submit_unit").click().run()  # what was typed is still there
    assert not at.exception
    assert "Added AL-7 of Alder Lane." in unescaped(text_of(at))
    at.button(key="seen_make_backup").click().run()
    assert at.get("download_button")[-1].label == f"Save it: club.{date.today()}.duckdb"
    _, _, content = at.session_state["seen_backup"]
    (tmp_path / "taken away.duckdb").write_bytes(content)
    assert len(calib.Register(tmp_path / "taken away.duckdb").known()) == 1
    assert "calib carry BACKUP 'ducklake:postgres:" in at.code[0].value
    at.button(key="seen_check").click().run()
    assert "known units: 1; read through: revisions of known units 1" in unescaped(at.success[0].value)
    assert "moth" not in text_of(at)

    register, bring = calib.Register(place := calib.default_register_path(), create=False), revisions.bring
    more = register.known().assign(unit="AL-8")

    def cut(*given: Any, **more: Any) -> revisions.ImportReport:
        report = bring(*given, **more)
        server.stop()
        return report

    with monkeypatch.context() as patch:
        patch.setattr(revisions, "bring", cut)
        with pytest.raises(CannotError, match="its catalogue in PostgreSQL cannot be reached") as told:
            register.import_table(more)
    assert "\n" not in str(told.value)
    with pytest.raises(RegisterError, match="cannot be reached"):
        register.known()
    server.start()
    assert len(register.known()) == 1
    assert register.import_table(more).added == 1
    assert check_register(place).is_sound
