"""Signing in on the page by OpenID Connect: whose role counts, what is refused, and the flow in a real browser."""

from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import pytest

import calib
from calib.app import sign_in
from calib.cli.main import main
from calib.errors import CannotError, InputError, RegisterError
from calib.register import lakehouse
from calib.register.lakehouse import Lakehouse
from calib.register.register import Register
from tests.app.test_register_pages import add
from tests.app.visits import KNOWN, AppTest, opened, settle, text_of, unescaped
from tests.browser.conftest import START_S, Look, Server, browser, look  # noqa: F401  the fixtures are used by name
from tests.browser.test_page import CHOSEN, NEW, type_in
from tests.lakehouse import catalogue
from tests.lakehouse.provider import CLIENT, Provider
from tests.lakehouse.test_members import ANOTHERS, OWN, record

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

ANNA, CURT, RITA, OTTO, STRANGER = (f"{name}@club.example" for name in ("anna", "curt", "rita", "otto", "stranger"))


@pytest.fixture(scope="module")
def club() -> Iterator[str]:
    """A register whose members sign in, with a record of another's."""
    address = catalogue.made(f"signs_{uuid4().hex}")
    Register(address, create=False).add(record(contributor=ANOTHERS))
    calib.set_member(address, ANNA, "contributor", OWN, signs_in=True)
    for curator in (CURT, OTTO):
        calib.set_member(address, curator, "curator", signs_in=True)
    assert main(["member", address, RITA, "--role", "reader", "--signs-in"]) == 0
    yield address
    lakehouse.let_go()


def by(address: str, who: str) -> Register:
    return Register(Lakehouse(address, by=who), create=False)


def told_of(e_mail: str, verified: object = True) -> dict[str, Any]:
    return {"is_logged_in": True, "email": e_mail, "email_verified": verified}


def test_each_visitor_writes_by_their_own_role_be_they_two_at_once(club: str) -> None:
    """The page's own login owns the catalogue here and might write all."""

    def write(who: str, contributor: str, unit: str) -> str:
        try:
            by(club, who).add(record(contributor=contributor, unit=unit))
        except (InputError, RegisterError) as error:
            return str(error)
        return ""

    pairs = [(who, whose) for who in (ANNA, CURT) for whose in (OWN, ANOTHERS)]
    jobs = [(who, whose, f"{who} {turn}") for turn, (who, whose) in enumerate(pairs)]
    with ThreadPoolExecutor(4) as pool:
        said = dict(zip(jobs, pool.map(lambda job: write(*job), jobs), strict=True))
    for (who, whose, _), refused in said.items():
        assert bool(refused) == ((who, whose) == (ANNA, ANOTHERS)), refused
        assert not refused or f"who write as contributor {OWN}" in refused
    with Lakehouse(club).opened() as con:
        found = con.execute("SELECT unit, written_as FROM revisions WHERE unit LIKE '%@club.example %'").fetchall()
    wrote = {unit: who for (who, _, unit), refused in said.items() if not refused}
    assert dict(found) == {unit: "curator" if who == CURT else f"contributor {OWN}" for unit, who in wrote.items()}
    assert "may read this register and not write it" in write(RITA, OWN, "no")
    assert len(by(club, RITA).known()) >= 1
    for stranger in (STRANGER, ANNA.upper(), catalogue.OWNER):
        with pytest.raises(RegisterError, match="has no role in this register; ask its owner"):
            by(club, stranger)


def test_a_login_of_postgresql_is_no_visitor_and_a_visitor_no_login(
    club: str, capsys: pytest.CaptureFixture[str]
) -> None:
    catalogue.asked(f'CREATE ROLE "mailto:{CURT}" LOGIN SUPERUSER')
    with pytest.raises(RegisterError, match="a login named so writes nothing"):
        Register(club.replace(f"user={catalogue.OWNER}", f"user=mailto:{CURT}"), create=False).add(record(unit="no"))
    for words, said in (
        (["anna", "--signs-in"], "is no e-mail"),
        ([f"mailto:{ANNA}"], "is no login's name"),
        ([ANNA], "PostgreSQL has no such login"),
    ):
        assert main(["member", club, *words, "--role", "curator"]) == 2
        assert said in capsys.readouterr().err
    assert main(["member", club]) == 0
    assert f"{ANNA}: contributor of {OWN}, signs in on the page\n" in capsys.readouterr().out
    bare = catalogue.made(f"bare_{uuid4().hex}")
    with pytest.raises(RegisterError, match="has no role"):  # where nobody has one, a login writes all: no visitor does
        by(bare, ANNA)


@pytest.fixture
def asked(club: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_REGISTER", club)
    monkeypatch.setattr(sign_in, "ASKED", event := threading.Event())
    event.set()
    return club


def visit(told: dict[str, Any], page: str = "") -> AppTest:
    with pytest.MonkeyPatch.context() as patch:
        first = AppTest.run
        patch.setattr(AppTest, "run", lambda at, **more: (setattr(at, "user", told), first(at, **more))[1])
        return opened(page, register="practice")


def test_the_page_shows_nothing_to_whom_it_does_not_know_and_a_button_writes_nothing_for_them(asked: str) -> None:
    for told in (
        {},
        told_of(ANNA, False),
        told_of(ANNA, "true"),
        {"is_logged_in": True, "email": ANNA},
    ):
        at = visit(told)
        assert [button.label for button in at.button] == [("Sign in", "Sign out")[told.get("is_logged_in", False)]]
        assert not at.sidebar.children
        assert ANOTHERS not in text_of(at)
    assert "has no role in this register" in unescaped(text_of(visit(told_of(STRANGER), KNOWN)))
    gone = visit(told_of(OTTO), KNOWN)
    assert re.search(r"\d of \d known unit", text_of(gone))
    calib.set_member(asked, OTTO, "none", signs_in=True)
    assert "has no role in this register" in unescaped(text_of(add(gone)))
    before = Register(asked, create=False).revisions()
    reader = visit(told_of(RITA), KNOWN)
    assert not reader.sidebar.radio  # no practice register
    assert "may read this register and not write it" in unescaped(text_of(add(reader)))
    reader.user = {}
    reader.button(key="submit_unit").click().run()
    assert [button.label for button in reader.button] == ["Sign in"]
    assert Register(asked, create=False).revisions().equals(before)


def secrets(folder: Path, **changes: object) -> Path:
    """A file that says by whom one signs in; a value of None leaves a line out."""
    auth = {
        "redirect_uri": "http://127.0.0.1:{port}/oauth2callback",
        "cookie_secret": uuid4().hex,
        "client_id": CLIENT,
        "client_secret": "of the tests",
        "server_metadata_url": "https://sign-in.example/.well-known/openid-configuration",
    } | changes
    lines = [f"{name} = {json.dumps(value)}" for name, value in auth.items() if value is not None]
    (file := folder / "secrets.toml").write_text("\n".join(["[auth]", *lines, ""]), encoding="utf-8")
    file.chmod(0o600)
    return file


def test_the_page_is_not_served_where_anything_of_signing_in_is_missing(
    club: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CALIB_REGISTER", club)
    for changes, said in (
        ({"client_id": None}, "client_id': is missing"),
        ({"cookie_secret": "short"}, "cookie_secret': has less than 32 characters"),
        ({"redirect_uri": "https://elsewhere.example/oauth2callback"}, "redirect_uri': is not this page's own"),
        ({"redirect_uri": "http://bench.example/oauth2callback"}, "redirect_uri': is not this page's own"),
        ({"server_metadata_url": "http://sign-in.example/"}, "server_metadata_url': goes over an open line"),
    ):
        with pytest.raises(InputError, match=said):
            sign_in.read(str(secrets(tmp_path, **changes)), "127.0.0.1")
    file = secrets(tmp_path)
    assert "of the tests" not in repr(sign_in.read(str(file), "127.0.0.1"))
    monkeypatch.setenv("CALIB_PRACTICE", "0")
    page = ["page", "--sign-in", str(file)]
    behind = ["--behind-proxy", "127.0.0.1"]
    (own := Register(tmp_path / "own.duckdb")).count()
    bare = catalogue.made(f"bare_{uuid4().hex}")
    for words, said in (
        ([], "name the host with --behind-proxy"),
        ([*behind, "--register", str(own.path)], "a register's file has no members"),
        ([*behind, "--register", bare], "none of its members signs in on the page"),
        ([*behind, "--practice"], "leave out --practice"),
    ):
        assert main([*page, *words]) in (1, 2)
        assert said in (told := capsys.readouterr().err)
        assert told.count("\n") == 1
    monkeypatch.setenv("CALIB_REGISTER", club)
    file.chmod(0o644)
    assert main([*page, *behind]) == 2
    assert "may be read by others" in capsys.readouterr().err
    monkeypatch.setitem(__import__("sys").modules, "authlib.integrations.starlette_client", None)
    with pytest.raises(CannotError, match="needs Authlib"):
        sign_in.read(str(file), "127.0.0.1")
    assert not sign_in.ASKED.is_set()


class Served(Server):
    """The page that a proxy serves: its address is printed without a key."""

    def _wait(self) -> str:
        end = time.monotonic() + START_S
        while f"the page is at {self.url}/ (no key is asked" not in (told := self.log.read_text(encoding="utf-8")):
            if self._process.poll() is not None or time.monotonic() > end:
                self.stop()
                pytest.fail(f"the server did not start:\n{told}")
            time.sleep(0.05)
        return ""


def fills_in(page: Page, unit: str, contributor: str) -> Locator:
    """A record, typed in; the button that adds it."""
    page.get_by_role("link", name="Known units").click()
    for label, value in (NEW | {"Unit": unit, "Contributor": contributor}).items():
        type_in(page, label, value)
    for label, value in CHOSEN.items():
        page.get_by_role("combobox", name=label).click()
        page.get_by_role("option", name=re.compile(rf"^{value}\b")).click()
    return page.get_by_role("button", name="Add this unit")


def signs_in(page: Page, provider: Provider, who: str, verified: bool = True) -> None:
    provider.who = {"email": who, "email_verified": verified}
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text(f"Signed in: {who}" if verified else "does not say that the e-mail").wait_for()


def signs_out(page: Page) -> None:
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("button", name="Sign in").wait_for()


def test_two_sign_in_each_adds_as_who_they_are_one_is_refused_anothers_and_signs_out_the_other_stays(
    club: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    provider = Provider()
    file = secrets(tmp_path, server_metadata_url=f"{provider.url}/.well-known/openid-configuration")
    look_at: Look = request.getfixturevalue("look")
    server = Served(tmp_path, "--register", club, "--behind-proxy", "127.0.0.1", "--sign-in", str(file))
    try:
        page, others = look_at(server).page, look_at(server).page
        first = page.goto(f"{server.url}/known_units")
        assert first
        assert first.headers["x-frame-options"] == "DENY"
        assert "frame-ancestors 'none'" in first.headers["content-security-policy"]
        page.get_by_role("button", name="Sign in").wait_for()
        assert ANOTHERS not in page.content()
        assert page.get_by_role("link", name="Known units").count() == 0
        signs_in(page, provider, ANNA, verified=False)
        signs_out(page)
        signs_in(page, provider, ANNA)
        fills_in(page, "AL-9", ANOTHERS).click()
        page.get_by_text("not yours to write").first.wait_for()
        others.goto(server.url)
        signs_in(others, provider, CURT)
        add_theirs = fills_in(others, "TS-9", ANOTHERS)
        type_in(page, "Contributor", OWN)
        page.get_by_role("button", name="Add this unit").click()
        add_theirs.click()
        page.get_by_text("Added AL-9").wait_for()
        others.get_by_text("Added TS-9").wait_for()
        signs_out(page)
        assert "AL-9" not in page.content()
        others.reload()
        others.get_by_text(f"Signed in: {CURT}").wait_for()
        assert not [each for each in page.context.cookies() if each.get("name", "").startswith("_streamlit_user")]
        assert server.log.read_text(encoding="utf-8").count("\n") == 1  # its address, and nothing else was said
    finally:
        server.stop()
        provider.stop()
    with Lakehouse(club).opened() as con:
        asked = "SELECT unit, contributor, written_as FROM revisions WHERE unit IN ('AL-9', 'TS-9') ORDER BY unit"
        found = con.execute(asked).fetchall()
    assert found == [("AL-9", OWN, f"contributor {OWN}"), ("TS-9", ANOTHERS, "curator")]
