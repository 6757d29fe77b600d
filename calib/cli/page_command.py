"""``calib page``: serves the page on this machine only, and opens it in a browser.

Whoever opens it needs the address with the key of this start; `calib.app.page_server` asks for it.
"""

from __future__ import annotations

import argparse
import os
import re
import socket
import sys
import threading
import webbrowser
from typing import TYPE_CHECKING

from calib.cli.terminal import HERE, register_path
from calib.errors import CannotError, InputError

if TYPE_CHECKING:
    from calib.app.sign_in import SignIn

FIRST_PORT, PORTS_TRIED = 8501, 20
HOST_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?")


def run(asked: argparse.Namespace) -> None:
    """Serve the page until interrupted."""
    choose_register(asked)
    port, proxy = port_of(asked.port), proxy_of(asked.behind_proxy)
    from calib.app.page_server import serve

    signing = sign_in_of(asked, proxy)

    def started(address: str, once: str) -> None:
        whom = "this machine only" if proxy is None else f"no key is asked; the proxy serves it as {proxy}"
        whom += "; who comes is asked to sign in" if signing else ""
        sys.stderr.write(f"calib: the page is at {address} ({whom}); stop it with Ctrl+C\n")
        sys.stderr.flush()
        if has_display():
            threading.Thread(target=webbrowser.open, args=(once,), daemon=True).start()

    try:
        serve(port, proxy, started, signing)
    except KeyboardInterrupt:
        raise KeyboardInterrupt("the page is closed") from None


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
            column = "--practice and --register"
            raise InputError.one(problem, remedy, column=column, value=asked.register, where=HERE, code="conflict")
        os.environ["CALIB_PRACTICE"] = "1"
        return
    from calib.register.lakehouse import Lakehouse
    from calib.register.register import Register

    path = register_path(asked.register).absolute()
    if path.exists():
        with Register(path) as register:
            register.count()
    os.environ.pop("CALIB_PRACTICE", None)
    os.environ["CALIB_REGISTER"] = path.address if isinstance(path, Lakehouse) else str(path)


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
        raise InputError.one(
            "is no port number from 1 to 65535", remedy, column="--port", value=typed, where=HERE, code="limits"
        )
    if not is_free(int(typed)):
        raise CannotError(f"port {typed} is in use; stop the program that listens there, or name another with --port")
    return int(typed)


def proxy_of(typed: str | None) -> str | None:
    """The host that a proxy serves the page as; None where there is no proxy, so that the key is asked for.

    Raises
    ------
    InputError
        It is no name of a host.
    """
    if typed is None or HOST_NAME.fullmatch(typed):
        return typed and typed.lower()
    remedy = "give the name alone, such as bench.example, without http:// and port"
    raise InputError.one("is no name of a host", remedy, column="--behind-proxy", value=typed, where=HERE, code="text")


def sign_in_of(asked: argparse.Namespace, proxy: str | None) -> SignIn | None:
    """By whom one signs in, every part of it checked; None where nobody is asked to.

    Raises
    ------
    InputError
        It cannot be asked for as the page is to be served, or the file does not say by whom.
    CannotError
        Authlib is not there, or the register has no members.
    """
    if asked.sign_in is None:
        return None
    from calib.app.sign_in import check_register, read

    where = {"column": "--sign-in", "value": asked.sign_in, "where": HERE, "code": "conflict"}
    if proxy is None:
        remedy = "name the host with --behind-proxy: a provider's answer comes from another site, and brings no key"
        raise InputError.one("is for a page that a proxy serves", remedy, **where)
    if asked.practice:
        raise InputError.one("is for a register with members", "leave out --practice", **where)
    check_register()
    return read(asked.sign_in, proxy)


def is_free(port: int) -> bool:
    """Whether nothing on this machine listens on a port yet."""
    from calib.app.page_server import HOME

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
