"""The server of the page: its settings in place and verified, and a door that lets in whoever holds the start-up key.

Safety rests on the settings. ``calib page`` puts each in place itself, and every other one back to the server's own
default, so that no settings file (in the folder that one stands in, in one's home, beside the page) and no variable of
the environment has a say; then it asks the server what holds.

The server listens on this machine only, but every user and program of this machine can reach its port. The door asks
for the key that was made for this start: in the address first, in a cookie from then on. It stands before everything
that the server answers, in HTTP and in the handshake of the live connection.
"""

from __future__ import annotations

import html
import secrets
import socket
import threading
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from contextlib import suppress
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

from calib.app import sign_in
from calib.charts.style import DARK, LIGHT, Palette
from calib.errors import CannotError
from calib.paths import data

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Message, Receive, Send], Awaitable[None]]

SERVED = threading.Event()  # set once this process serves the page, its settings verified
HOME = "127.0.0.1"
KEY = "key"  # of the address
HEALTH = "/_stcore/health"  # says that the server runs; of the page itself it takes the token that an upload needs
PING_S = 30.0  # a live connection is asked so often whether it still is [s]
PATIENCE_S = 3  # what is still open at the end may take so long to close [s]
SERVER = data("app/page_server.toml")
GUARDS: dict[str, str] = SERVER["guards"]


def _theme(ground: str, palette: Palette) -> dict[str, object]:
    return {f"theme.{ground}.{name}": getattr(palette, colour) for name, colour in SERVER["theme"].items()}


# Every setting by its dotted name. By its own defaults the server would listen on every network interface, answer any
# host name and report usage.
SETTINGS: dict[str, object] = {**SERVER["settings"], **_theme("light", LIGHT), **_theme("dark", DARK)}


def hosts_of(proxy: str | None) -> list[str]:
    """The names that the page answers to: this machine's own, and that of a proxy before it."""
    return ["localhost", HOME, *([proxy] if proxy else [])]


def in_place(port: int, proxy: str | None = None, secrets_file: str = "") -> dict[str, object]:
    """Put every setting of the server in this process in place.

    Parameters
    ----------
    port : int
        Port to listen on, 1 to 65535.
    proxy : str or None
        Host that a proxy serves the page as.
    secrets_file : str
        File that says by whom one signs in; blank for none.

    Returns
    -------
    dict of str to object
        What has to hold by now, by dotted name; every other setting is the server's own default.
    """
    from streamlit import config

    wanted = SETTINGS | {
        "server.port": port,
        "server.allowedHosts": hosts_of(proxy),
        "server.cookieSecret": secrets.token_hex(32),
        "browser.serverPort": port,
        "secrets.files": [secrets_file] if secrets_file else [],
        "server.maxCacheDataSize": None,
        "server.trustedUserHeaders": {},
        "theme.base": None,  # else a file or an address that themes are taken from
    }
    options = config.get_config_options(force_reparse=True, options_from_flags=wanted)
    for name, option in options.items():
        if name not in wanted and not _is_default(option):
            config.set_option(name, option.default_val)
    return wanted


def _is_default(option: Any) -> bool:
    return option.where_defined == option.DEFAULT_DEFINITION or option.value == option.default_val


def out_of_place(wanted: Mapping[str, object]) -> list[str]:
    """The settings that do not hold in the server in this process, each with what it is and what it has to be."""
    from streamlit import config

    options = config.get_config_options()
    wrong = [f"{name} is unknown to this release of Streamlit" for name in wanted if name not in options]
    for name, option in options.items():
        has_to_be = wanted.get(name, option.default_val)
        if option.value != has_to_be and not (name not in wanted and _is_default(option)):
            shown = "(secret)" if option.sensitive else f"{option.value!r} and has to be {has_to_be!r}"
            wrong.append(f"{name} is {shown}")
    return wrong


class Door:
    """ASGI middleware that asks for the key, refuses other sites, and forbids to frame or to leak what it lets through.

    Parameters
    ----------
    inner : ASGI application
        What stands behind the door.
    port : int
        Port that the server listens on, 1 to 65535; it names the cookie, which browsers keep by host alone.
    proxy : str or None
        Name of the host that a proxy serves the page as, which asks for a password itself: no key is asked then.
    started : callable
        Called without arguments once the application has started; an exception refuses the start.
    """

    def __init__(self, inner: Application, port: int, proxy: str | None, started: Callable[[], None]) -> None:
        self.inner, self.started = inner, started
        self.hosts = hosts_of(proxy)
        self.asks = proxy is None
        self.cookie = f"calib_{port}"
        self.pass_word = secrets.token_urlsafe(32)
        self.key = secrets.token_urlsafe(32)
        self.once, self.once_used = secrets.token_urlsafe(32), False
        self.trouble: Exception | None = None

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] == "lifespan":
            await self._start(scope, receive, send)
            return
        headers = {name.decode("latin-1").lower(): text.decode("latin-1") for name, text in scope["headers"]}
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        if not self._of_this_site(headers):
            await _refuse(scope, receive, send, "strange")
        elif scope["path"] == HEALTH and self.asks and not self._has_cookie(headers):
            await _answer(send, 200, "ok", {"content-type": "text/plain; charset=utf-8"})
        elif not self.asks:
            await self.inner(scope, receive, _guarded(send))
        elif scope["type"] == "http" and scope["method"] == "GET" and any(name == KEY for name, _ in query):
            await self._unlock(scope, receive, send, headers)
        elif self._has_cookie(headers):
            await self.inner(scope, receive, _guarded(send))
        else:
            await _refuse(scope, receive, send, "shut")

    async def _start(self, scope: Message, receive: Receive, send: Send) -> None:
        """Start and end the application; the server is told that it has started only once `started` agrees."""

        async def told(message: Message) -> None:
            if message["type"] == "lifespan.startup.complete":
                self.started()
            await send(message)

        try:
            await self.inner(scope, receive, told)
        except Exception as trouble:
            self.trouble = trouble
            raise

    def _of_this_site(self, headers: dict[str, str]) -> bool:
        """Whether a request was made to one of our names, and not by the page of another site or port."""
        host, origin = headers.get("host", ""), headers.get("origin")
        try:
            name = urlsplit(f"//{host}").hostname
            page = host if origin is None else urlsplit(origin).netloc
        except ValueError:
            return False
        return name in self.hosts and page.lower() == host.lower()

    def _has_cookie(self, headers: dict[str, str]) -> bool:
        pairs = (part.strip().partition("=") for part in headers.get("cookie", "").split(";"))
        return any(name == self.cookie and _same(value, self.pass_word) for name, _, value in pairs)

    async def _unlock(self, scope: Message, receive: Receive, send: Send, headers: dict[str, str]) -> None:
        """Take the key from the address into a cookie, and have the browser ask for the page without it."""
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        key = next(value for name, value in query if name == KEY)
        first = _same(key, self.once) and not self.once_used
        if not (first or _same(key, self.key) or self._has_cookie(headers)):
            await _refuse(scope, receive, send, "spent" if _same(key, self.once) else "shut")
            return
        self.once_used = self.once_used or first
        rest = urlencode([(name, value) for name, value in query if name != KEY])
        place = "/" + quote(scope["path"].lstrip("/\\")) + (f"?{rest}" if rest else "")
        # Not a redirection: a browser that came by another site's link would follow it without the strict cookie.
        text = f'<!doctype html><title>calib</title><meta http-equiv="refresh" content="0;url={html.escape(place)}">'
        cookie = f"{self.cookie}={self.pass_word}; HttpOnly; SameSite=Strict; Path=/"
        await _answer(send, 200, text, {"content-type": "text/html; charset=utf-8", "set-cookie": cookie})


def _same(given: str, true: str) -> bool:
    """Whether two secrets are the same, in a time that tells nothing of where they differ."""
    return secrets.compare_digest(given.encode("utf-8", "surrogateescape"), true.encode())


def _guarded(send: Send) -> Send:
    """Put the guarding headers on every answer, in the place of any of the same name."""

    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [one for one in message.get("headers", ()) if one[0].decode("latin-1").lower() not in GUARDS]
            message = {**message, "headers": [*kept, *_raw(GUARDS)]}
        await send(message)

    return guarded


def _raw(headers: dict[str, str]) -> list[tuple[bytes, bytes]]:
    return [(name.encode("latin-1"), text.encode("latin-1")) for name, text in headers.items()]


async def _answer(send: Send, status: int, text: str, headers: dict[str, str]) -> None:
    body = text.encode()
    headers = {"content-length": str(len(body)), "cache-control": "no-store", **headers}
    await _guarded(send)({"type": "http.response.start", "status": status, "headers": _raw(headers)})
    await send({"type": "http.response.body", "body": body})


async def _refuse(scope: Message, receive: Receive, send: Send, why: str) -> None:
    """Status 403, for the reason of that name; in a live connection's handshake the server makes it from a closing."""
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
    else:
        await _answer(send, 403, SERVER["refused"][why] + "\n", {"content-type": "text/plain; charset=utf-8"})


def serve(
    port: int, proxy: str | None, started: Callable[[str, str], None], signing: sign_in.SignIn | None = None
) -> None:
    """Serve the page until interrupted.

    Parameters
    ----------
    port : int
        Port to listen on, 1 to 65535.
    proxy : str or None
        Host that a proxy serves the page as; no key is asked then.
    started : callable
        Called with two addresses once the page is served: one that opens as often as it is asked for, and one for
        a browser's command line, which other users of the machine can read: it opens once.
    signing : SignIn or None
        By whom one signs in; None where nobody is asked to.

    Raises
    ------
    CannotError
        A setting is not what it has to be, or the server could not start.
    OSError
        Another program listens at the port.
    """
    import uvicorn
    from streamlit.starlette import App

    from calib.app.context import said_in_own_words
    from calib.paths import shipped

    def verified() -> None:
        wrong = out_of_place(wanted)
        if wrong:
            raise CannotError(f"the page is not served, for its server does not keep to a setting: {wrong[0]}")
        if signing and not sign_in.holds(signing):
            raise CannotError("the page is not served, for its server does not read [auth] as it stands in the file")
        SERVED.set()
        home = f"http://{HOME}:{port}/"
        started(*(f"{home}?{KEY}={key}" if door.asks else home for key in (door.key, door.once)))

    if signing:
        sign_in.ASKED.set()  # never taken back: what this process shows, it shows to who signed in
    try:
        wanted = in_place(port, proxy, signing.file if signing else "")
    except (RuntimeError, ValueError) as error:
        where = "a config.toml in .streamlit, of your home or of this folder, cannot be read; mend it or take it away"
        raise CannotError(f"{where}: {error}") from error
    door = Door(App(shipped("app.py"), on_script_error=said_in_own_words), port, proxy, verified)
    server = uvicorn.Server(
        uvicorn.Config(
            door,
            log_level="critical",
            access_log=False,
            lifespan="on",
            server_header=False,
            ws_ping_interval=PING_S,
            ws_ping_timeout=PING_S,
            timeout_graceful_shutdown=PATIENCE_S,
        )
    )
    with socket.create_server((HOME, port)) as listening, suppress(SystemExit):  # so it ends when it did not start
        server.run(sockets=[listening])
    if isinstance(door.trouble, CannotError):
        raise door.trouble
    if not server.started:
        raise CannotError(f"the page's server could not start: {door.trouble or 'its cause is unknown'}")
