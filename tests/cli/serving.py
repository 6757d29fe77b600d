"""The page served by a process of its own, and what the outside gets to see of it."""

from __future__ import annotations

import http.client
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPMessage
from pathlib import Path

HOME = "127.0.0.1"


@dataclass(frozen=True)
class Answer:
    """What the server answered."""

    status: int
    headers: HTTPMessage
    text: str


@dataclass(frozen=True)
class Served:
    """A page that is served: its port, its process, and the key of the address that was printed."""

    port: int
    key: str
    process: subprocess.Popen[bytes]

    @property
    def own(self) -> str:
        return f"{HOME}:{self.port}"

    def ask(self, path: str, method: str = "GET", **headers: str) -> Answer:
        """Ask for a path; `host`, `origin` and `cookie` are headers."""
        connection = http.client.HTTPConnection(HOME, self.port, timeout=10)
        connection.request(method, path, headers={"Host": self.own, **headers})
        answer = connection.getresponse()
        told = Answer(answer.status, answer.headers, answer.read().decode("utf-8", "replace"))
        connection.close()
        return told

    def cookie(self) -> str:
        """What a browser has once it has opened the address with the key."""
        return self.ask(f"/?key={self.key}").headers["set-cookie"].partition(";")[0]

    def handshake(self, host: str = "", origin: str = "", cookie: str = "") -> int:
        """Status of the answer to a request for the page's live connection, made in the name of a host."""
        request = (
            f"GET /_stcore/stream HTTP/1.1\r\nHost: {host or self.own}\r\nOrigin: {origin or f'http://{self.own}'}\r\n"
            f"Connection: Upgrade\r\nUpgrade: websocket\r\n{f'Cookie: {cookie}' if cookie else 'X-None: 1'}\r\n"
            "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
        )
        with socket.create_connection((HOME, self.port), timeout=10) as connection:
            connection.sendall(request.encode())
            return int(connection.recv(100).split()[1])


def free_port() -> int:
    """A port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(environment: dict[str, str], folder: Path, *words: str) -> Iterator[Served]:
    """The page of a process of its own, once it is there; the process ends with the block."""
    port = free_port()
    command = [sys.executable, "-m", "calib", "page", "--port", str(port), *words]
    errors = folder / "page.err"
    with (
        errors.open("wb") as log,
        subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=log) as page,
    ):
        try:
            end = time.monotonic() + 60
            while "the page is at" not in errors.read_text(encoding="utf-8"):
                assert page.poll() is None, errors.read_text(encoding="utf-8")
                assert time.monotonic() < end, errors.read_text(encoding="utf-8")
                time.sleep(0.05)
            found = re.search(r"[?]key=(\S+)", errors.read_text(encoding="utf-8"))
            yield Served(port, found[1] if found else "", page)
        finally:
            page.terminate()


def listening_addresses(port: int) -> set[str]:
    """Addresses on which this machine listens at a port, by the system's own tables, in its notation."""
    found = set()
    for name in ("/proc/net/tcp", "/proc/net/tcp6"):
        for line in Path(name).read_text().splitlines()[1:]:
            local, state = line.split()[1], line.split()[3]
            address, at = local.split(":")
            if int(at, 16) == port and state == "0A":
                found.add(address)
    return found
