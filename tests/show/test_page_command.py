"""``calib page``: what it refuses, and what it serves to whom; the page itself is tested in a browser elsewhere."""

from __future__ import annotations

import socket
import threading
import time
from pathlib import Path

import pytest

from calib.show import page_command
from tests.show.conftest import Run
from tests.show.serving import free_port, handshake, listening_addresses, served


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="this system has no tables of its connections to read")
def test_it_listens_on_this_machine_only_whatever_the_settings_around_it_say(
    home: dict[str, str], tmp_path: Path
) -> None:
    careless = {
        "STREAMLIT_SERVER_ADDRESS": "0.0.0.0",
        "STREAMLIT_SERVER_ALLOWED_HOSTS": "*",
        "STREAMLIT_BROWSER_GATHER_USAGE_STATS": "true",
    }
    with served({**home, **careless}, tmp_path, "--practice") as port:
        assert listening_addresses(port) == {"0100007F"}  # 127.0.0.1, the lowest byte first
        own = f"127.0.0.1:{port}"
        assert handshake(port, own, f"http://{own}") == 101
        assert handshake(port, f"elsewhere.example:{port}", f"http://elsewhere.example:{port}") == 403
        assert handshake(port, own, "http://elsewhere.example") == 403
    told = f"calib: the page is at http://127.0.0.1:{port} (this machine only); stop it with Ctrl+C\n"
    assert (tmp_path / "page.err").read_text(encoding="utf-8").startswith(told)


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


def test_the_browser_is_opened_once_the_server_listens(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr(page_command.webbrowser, "open", opened.append)
    port = free_port()
    waiting = threading.Thread(target=page_command.open_when_ready, args=(port,))
    waiting.start()
    time.sleep(0.3)
    assert opened == []
    with socket.socket() as server:
        server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        server.bind(("127.0.0.1", port))
        server.listen()
        waiting.join(timeout=10)
    assert opened == [f"http://127.0.0.1:{port}"]


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
