"""The page served by a process of its own, and what the outside gets to see of it."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def free_port() -> int:
    """A port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(environment: dict[str, str], folder: Path, *words: str) -> Iterator[int]:
    """The page of a process of its own, once it answers; the process ends with the block."""
    port = free_port()
    command = [sys.executable, "-m", "calib", "page", "--port", str(port), *words]
    errors = folder / "page.err"
    with (
        errors.open("wb") as log,
        subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=log) as page,
    ):
        try:
            end = time.monotonic() + 60
            while status_of(port) != 200:
                assert page.poll() is None, errors.read_text()
                assert time.monotonic() < end, errors.read_text()
                time.sleep(0.1)
            yield port
        finally:
            page.terminate()


def status_of(port: int) -> int:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
            return int(answer.status)
    except OSError:
        return 0


def handshake(port: int, host: str, origin: str) -> int:
    """Status of the answer to a request for the page's live connection, made in the name of a host."""
    request = (
        f"GET /_stcore/stream HTTP/1.1\r\nHost: {host}\r\nOrigin: {origin}\r\n"
        "Connection: Upgrade\r\nUpgrade: websocket\r\n"
        "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
        connection.sendall(request.encode())
        return int(connection.recv(100).split()[1])


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
