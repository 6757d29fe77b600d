"""``calib page``: what it refuses, and what it serves to whom; the page itself is tested in a browser elsewhere."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from calib.cli import page_command
from tests.cli.conftest import Run
from tests.cli.serving import Served, free_port, listening_addresses, served

ROOT = Path(__file__).resolve().parents[2]


HOSTILE = """
[server]
address = "0.0.0.0"
allowedHosts = ["*"]
baseUrlPath = "elsewhere"
corsAllowedOrigins = ["http://elsewhere.example"]
enableCORS = false
enableXsrfProtection = false
enableStaticServing = true
trustedUserHeaders = "no table"
[browser]
gatherUsageStats = true
[client]
allowedOrigins = ["http://elsewhere.example"]
[theme]
base = "http://127.0.0.1:9/theme.toml"
font = "Borrowed:http://elsewhere.example/fonts.css"
[[theme.fontFaces]]
family = "Borrowed"
url = "http://elsewhere.example/font.woff2"
"""
CARELESS = {
    "STREAMLIT_SERVER_ADDRESS": "0.0.0.0",
    "STREAMLIT_SERVER_ALLOWED_HOSTS": "*",
    "STREAMLIT_SERVER_ENABLE_CORS": "false",
    "STREAMLIT_SERVER_ENABLE_XSRF_PROTECTION": "false",
    "STREAMLIT_SERVER_COOKIE_SECRET": "known",
    "STREAMLIT_BROWSER_GATHER_USAGE_STATS": "true",
}
KEYED = ("/", "/known-units", "/_stcore/host-config", "/_stcore/metrics", "/media/a.csv", "/static/js/index.js")


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The practice page, started where every settings file and the environment is against it."""
    start, own = (tmp_path_factory.mktemp(name) for name in ("start", "own"))
    for folder in (start, own):
        (folder / ".streamlit").mkdir()
        (folder / ".streamlit" / "config.toml").write_text(HOSTILE, encoding="utf-8")
    mine = {key: value for key, value in os.environ.items() if not key.startswith(("CALIB_", "STREAMLIT_", "DISPLAY"))}
    home = {"HOME": str(own), "USERPROFILE": str(own), "XDG_DATA_HOME": str(own / "data"), "PYTHONUTF8": "1"}
    with served({**mine, **home, **CARELESS}, start, "--practice") as here:
        yield here


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="this system has no tables of its connections to read")
def test_it_listens_on_this_machine_only_whatever_the_settings_around_it_say(page: Served) -> None:
    assert listening_addresses(page.port) == {"0100007F"}  # 127.0.0.1, the lowest byte first


def test_other_hosts_sites_and_ports_are_refused_whatever_the_settings_around_it_say(page: Served) -> None:
    cookie = page.cookie()
    assert page.handshake(cookie=cookie) == 101
    other = f"elsewhere.example:{page.port}"
    assert page.handshake(host=other, origin=f"http://{other}", cookie=cookie) == 403
    assert page.ask("/", cookie=cookie, Host=other).status == 403
    for origin in (
        "http://elsewhere.example",
        f"http://localhost:{page.port}",
        "http://127.0.0.1:1",
        "null",
        "http://[",
    ):
        assert page.handshake(origin=origin, cookie=cookie) == 403
        assert page.ask("/", cookie=cookie, origin=origin).status == 403
    assert page.ask("/_stcore/upload_file/a/b", "PUT", cookie=cookie).status == 403  # no token against forgery
    assert json.loads(page.ask("/_stcore/host-config", cookie=cookie).text)["allowedOrigins"] == []


def test_nothing_is_told_without_the_key(page: Served) -> None:
    name, _, value = page.cookie().partition("=")
    for cookie in ("", f"{name}=", f"{name}={value[:-1]}", f"{name}={value}x", f"other={value}", f"{name}={page.key}"):
        assert page.handshake(cookie=cookie) == 403
        for path in KEYED:
            answer = page.ask(path, cookie=cookie)
            assert (answer.status, answer.headers["set-cookie"]) == (403, None)
            assert answer.text.startswith("This page opens with its key only. Open the address that calib page printed")
    for key in ("", page.key[:-1], f"{page.key}x", "%FF%00", "\u00e9".encode().hex(), f"x&key={page.key}"):
        assert page.ask(f"/?key={key}").status == 403
    assert page.ask(f"/?key={page.key}", "POST").status == 403
    health = page.ask("/_stcore/health")
    assert (health.status, health.text, health.headers["set-cookie"]) == (200, "ok", None)


def test_the_key_opens_and_goes_from_the_address_into_a_cookie(page: Served) -> None:
    answer = page.ask(f"/known-units?register=practice&key={page.key}&a=%22%3E")
    assert answer.status == 200
    assert '<meta http-equiv="refresh" content="0;url=/known-units?register=practice&amp;a=%22%3E">' in answer.text
    cookie, *rules = answer.headers["set-cookie"].split("; ")
    assert sorted(rules) == ["HttpOnly", "Path=/", "SameSite=Strict"]
    assert cookie.startswith(f"calib_{page.port}=")  # browsers keep cookies by host: each port has its own
    assert page.key not in answer.text + cookie
    inside = page.ask("/known-units?register=practice", cookie=f"first=1; {cookie}")
    assert inside.status == 200
    assert "<script" in inside.text
    assert "url=/elsewhere.example/" in page.ask(f"//elsewhere.example/?key={page.key}").text
    assert "url=/elsewhere.example" in page.ask(f"/%5Celsewhere.example?key={page.key}").text


def test_no_other_site_can_frame_it_and_the_address_goes_nowhere(page: Served) -> None:
    for answer in (
        page.ask("/"),
        page.ask(f"/?key={page.key}"),
        page.ask("/", cookie=page.cookie()),
        page.ask("/_stcore/health"),
        page.ask("/nothing/here.js", cookie=page.cookie()),
    ):
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
        assert "http" not in answer.headers["content-security-policy"]
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"


def test_the_browser_gets_an_address_that_opens_once_and_ctrl_c_ends_it(
    home: dict[str, str], tmp_path: Path, page: Served
) -> None:
    """The command line of a browser is no secret: other users of the machine can read it."""
    opened, browser = tmp_path / "opened", tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf %s "$1" > "{opened}.part" && mv "{opened}.part" "{opened}"\n')
    browser.chmod(0o755)
    with served({**home, "DISPLAY": ":0", "BROWSER": f"{browser} %s"}, tmp_path, "--practice") as here:
        end = time.monotonic() + 30
        while not opened.exists():
            assert time.monotonic() < end
            time.sleep(0.05)
        address, _, key = opened.read_text().partition("?key=")
        assert address == f"http://{here.own}/"
        assert len({key, here.key, page.key}) == 3  # every start makes new keys
        first, second = here.ask(f"/?key={key}"), here.ask(f"/?key={key}")
        assert (first.status, second.status) == (200, 403)
        assert second.text.startswith("This address was used before, and opens once only.")
        cookie = first.headers["set-cookie"].partition(";")[0]
        assert here.ask("/", cookie=cookie).status == 200
        assert here.ask(f"/?key={here.key}").status == 200
        here.process.send_signal(signal.SIGINT)
        assert here.process.wait(timeout=30) == 130
    told = f"calib: the page is at http://{here.own}/?key={here.key} (this machine only); stop it with Ctrl+C\n"
    assert (tmp_path / "page.err").read_text(encoding="utf-8") == f"{told}calib: interrupted; the page is closed\n"


def test_a_proxy_is_asked_for_no_key_only_where_it_is_named(home: dict[str, str], tmp_path: Path) -> None:
    with served(home, tmp_path, "--practice", "--behind-proxy", "Bench.example") as here:
        assert here.key == ""
        assert here.handshake("bench.example", "https://bench.example") == 101
        assert here.ask("/", Host="bench.example").status == 200
        assert here.handshake("bench.example", "https://elsewhere.example") == 403
        assert here.ask("/", Host="elsewhere.example").status == 403
    whom = "no key is asked; the proxy serves it as bench.example"
    told = f"calib: the page is at http://{here.own}/ ({whom}); stop it with Ctrl+C\n"
    assert (tmp_path / "page.err").read_text(encoding="utf-8") == told


@pytest.mark.parametrize("host", ["", "http://bench.example", "bench.example:443", "*", "a b"])
def test_a_proxy_that_is_no_host_is_refused(called: Run, host: str) -> None:
    done = called("page", "--practice", f"--behind-proxy={host}")
    shown = f"'{host}'" if host else "(empty)"
    remedy = "give the name alone, such as bench.example, without http:// and port"
    assert done.returncode == 2
    assert done.stderr == f"command line, --behind-proxy {shown}: is no name of a host; {remedy}\n"


def test_a_setting_that_does_not_hold_is_one_line_and_nothing_is_served(home: dict[str, str], tmp_path: Path) -> None:
    """One that somebody's file changes, and one that this release does not know, in two processes forked from one."""
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "config.toml").write_text('[theme]\nfontFaces = "elsewhere.example"\n')
    words = ["page", "--practice", "--port", str(free_port())]
    code = f"""
import os, sys
from streamlit import config
from calib.app import page_server
from calib.cli import main
if not (child := os.fork()):
    config.set_option = lambda *given: None
    sys.exit(main.main({words}))
first = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
page_server.SETTINGS["server.noSuch"] = True
sys.exit(first * 10 + main.main({words}))
"""
    settings = {"cwd": tmp_path, "env": {**home, "PYTHONPATH": str(ROOT)}, "timeout": 120}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, **settings)  # type: ignore[call-overload]
    assert (done.returncode, done.stdout) == (11, "")
    refused = "calib: the page is not served, for its server does not keep to a setting: "
    assert [line for line in done.stderr.splitlines() if line.startswith("calib:")] == [
        f"{refused}theme.fontFaces is 'elsewhere.example' and has to be None",
        f"{refused}server.noSuch is unknown to this release of Streamlit",
    ]
    assert "the page is at" not in done.stderr


def test_a_port_in_use_is_one_line_and_status_1(calib: Run) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = calib("page", "--practice", "--port", str(port))
    remedy = "stop the program that listens there, or name another with --port"
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == f"calib: port {port} is in use; {remedy}\n"


@pytest.mark.parametrize("port", ["0", "65536", "-1", "80a", "", "1e3", "٣"])
def test_a_port_that_is_none_is_refused(called: Run, port: str) -> None:
    done = called("page", "--practice", f"--port={port}")
    shown = f"'{port}'" if port else "(empty)"
    assert done.returncode == 2
    assert done.stderr == f"command line, --port {shown}: is no port number from 1 to 65535; give one such as 8501\n"


def test_without_a_port_the_first_free_one_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        first = taken.getsockname()[1]
        monkeypatch.setattr(page_command, "FIRST_PORT", first)
        assert first < page_command.port_of(None) < first + page_command.PORTS_TRIED
        monkeypatch.setattr(page_command, "PORTS_TRIED", 1)
        with pytest.raises(
            page_command.CannotError, match=f"the ports {first} to {first} are all in use; name another"
        ):
            page_command.port_of(None)


def test_practice_and_a_register_do_not_go_together(called: Run, tmp_path: Path) -> None:
    done = called("page", "--practice", "--register", "club.duckdb")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "practice data never mix with a register of real readings" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("variables", "expected"), [({}, False), ({"DISPLAY": ":0"}, True), ({"WAYLAND_DISPLAY": "wayland-0"}, True)]
)
def test_a_browser_is_opened_only_where_it_can_be_seen(
    monkeypatch: pytest.MonkeyPatch, variables: dict[str, str], expected: bool
) -> None:
    monkeypatch.setattr(page_command.sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert page_command.has_display() is expected
