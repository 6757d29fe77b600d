"""``calib page``: serves the page on this machine only, and opens it in a browser.

Every setting that safety rests on is passed to the server here, where nothing else can override it: a wheel
has no settings file, and the server's own defaults would listen on every network interface.
"""

from __future__ import annotations

import argparse
import os
import socket
import sys
import threading
import time
import webbrowser

from calib.errors import CannotError, InputError
from calib.show.options import HERE, add_register
from calib.show.sources import register_path

FIRST_PORT, PORTS_TRIED = 8501, 20
QUIET = ("--logger.hideWelcomeMessage=true", "--logger.level=warning")


def declare(part: argparse.ArgumentParser) -> None:
    """The options of ``calib page``."""
    part.add_argument("--practice", action="store_true", help="open the simulated practice register")
    add_register(part)
    part.add_argument(
        "--port", metavar="N", help=f"port to listen on; where not given, the first free from {FIRST_PORT}"
    )


def run(asked: argparse.Namespace) -> None:
    """Serve the page until interrupted."""
    choose_register(asked)
    port = port_of(asked.port)
    from streamlit.web import cli

    from calib.places import shipped
    from calib.show.page_settings import HOME, command_line

    sys.stderr.write(f"calib: the page is at http://{HOME}:{port} (this machine only); stop it with Ctrl+C\n")
    if has_display():
        threading.Thread(target=open_when_ready, args=(port,), daemon=True).start()
    words = ["run", str(shipped("app.py")), *command_line(port), *QUIET]
    cli.main(words, prog_name="streamlit", standalone_mode=False)


def choose_register(asked: argparse.Namespace) -> None:
    """Tell the page, which runs in this process's environment, which register to open.

    Raises
    ------
    InputError
        Both the practice register and another are asked for, or the register's name is none.
    RegisterError
        The file is no register, or cannot be opened.
    """
    if asked.practice:
        if asked.register is not None:
            problem, remedy = "practice data never mix with a register of real readings", "leave out one of the two"
            raise InputError.one(problem, remedy, column="--practice and --register", value=asked.register, where=HERE)
        os.environ["CALIB_PRACTICE"] = "1"
        return
    from calib.register.store import Register

    path = register_path(asked.register).absolute()
    if path.exists():
        with Register(path) as register:
            register.count()
    os.environ.pop("CALIB_PRACTICE", None)
    os.environ["CALIB_REGISTER"] = str(path)


def port_of(typed: str | None) -> int:
    """The port to listen on: the one asked for, else the first that is free.

    Raises
    ------
    InputError
        It is no port number.
    CannotError
        Another program listens there.
    """
    if typed is None:
        free = (port for port in range(FIRST_PORT, FIRST_PORT + PORTS_TRIED) if is_free(port))
        port = next(free, None)
        if port is None:
            last = FIRST_PORT + PORTS_TRIED - 1
            raise CannotError(f"the ports {FIRST_PORT} to {last} are all in use; name another with --port")
        return port
    if not (typed.isascii() and typed.isdigit() and 1 <= int(typed) <= 65535):
        remedy = f"give one such as {FIRST_PORT}"
        raise InputError.one("is no port number from 1 to 65535", remedy, column="--port", value=typed, where=HERE)
    if not is_free(int(typed)):
        raise CannotError(f"port {typed} is in use; stop the program that listens there, or name another with --port")
    return int(typed)


def is_free(port: int) -> bool:
    """Whether nothing on this machine listens on a port yet."""
    from calib.show.page_settings import HOME

    with socket.socket() as probe:
        if os.name != "nt":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOME, port))
        except OSError:
            return False
    return True


def has_display() -> bool:
    """Whether a browser's window could be shown."""
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def open_when_ready(port: int, patience_s: float = 30.0) -> None:
    """Open a browser once the server listens.

    Parameters
    ----------
    port : int
        Port that the server was told to listen on, 1 to 65535.
    patience_s : float
        How long to wait for the server, 0 and up [s].
    """
    from calib.show.page_settings import HOME

    end = time.monotonic() + patience_s
    while time.monotonic() < end:
        try:
            socket.create_connection((HOME, port), timeout=1.0).close()
        except OSError:
            time.sleep(0.1)
        else:
            webbrowser.open(f"http://{HOME}:{port}")
            return
