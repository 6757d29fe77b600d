"""Signing in on the page by OpenID Connect: by whom, who is at this visit's page, and as whom it opens the register.

Off unless ``calib page --sign-in FILE`` asks for it. Streamlit does the flow (OpenID Connect Core 1.0, the code flow)
and keeps who it was in a signed cookie; what is here says what of that counts. Whoever signed in is a member by their
verified e-mail; the register refuses what their role does not allow, at the one place where it is opened.
"""

from __future__ import annotations

import os
import stat
import threading
import tomllib
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import SplitResult, urlsplit

import streamlit as st

import calib
from calib import words
from calib.errors import CannotError, Fault, InputError, RegisterError
from calib.register.lakehouse import EXTRA, TAKEN_OUT, Lakehouse
from calib.register.members import E_MAIL

ASKED = threading.Event()  # set before this process serves a page on which one has to sign in, and never taken back
SECTION = "auth"
NEEDED = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")
CALLBACK = "/oauth2callback"
LEAST_SECRET = 32  # characters: whoever guesses it can pass for anybody
OWN_MACHINE = ("127.0.0.1", "localhost")
AS = "signed_in_as"  # whose visit the session is
COLUMN = "--sign-in"


@dataclass(frozen=True)
class SignIn:
    """By whom one signs in: the file that says so, and its section [auth], which is not to be shown."""

    file: str
    auth: Mapping[str, Any] = field(repr=False)


def read(file: str, proxy: str) -> SignIn:
    """Read by whom one signs in, and check what safety rests on.

    Parameters
    ----------
    file : str
        A file of secrets, as Streamlit has them, whose name ends in .toml, with a section [auth] and nothing else.
    proxy : str
        Host that a proxy serves the page as.

    Raises
    ------
    InputError
        The file cannot be read, others can read it, or it does not say by whom.
    CannotError
        Authlib or httpx is not there.
    """
    try:
        with warnings.catch_warnings(record=True):  # it tells its own users what is to come, whatever one ignores
            import authlib.integrations.starlette_client  # noqa: F401
    except ImportError as error:
        raise CannotError(f"signing in needs Authlib and httpx; {EXTRA} ({error})") from None
    place = os.path.realpath(file)
    try:
        with open(place, "rb") as opened:
            mode = os.fstat(opened.fileno()).st_mode
            told = tomllib.load(opened)
    except (OSError, ValueError) as error:
        raise _wrong(file, f"cannot be read: {error}", "give a file of secrets as Streamlit has them") from None
    if not place.endswith(".toml"):
        raise _wrong(file, "does not end in .toml", "rename it")
    if os.name == "posix" and stat.S_IMODE(mode) & 0o077:
        problem = "may be read by others, who could then sign in as anybody"
        raise _wrong(file, problem, f"chmod 600 {file}, and make its cookie_secret anew")
    auth = told.pop(SECTION, None)
    if not isinstance(auth, dict) or told:
        raise _wrong(file, "has to have a section [auth] and nothing else", "write one, with " + ", ".join(NEEDED))
    if faults := list(_faults(auth, proxy)):
        raise InputError(faults)
    return SignIn(place, auth)


def _wrong(file: str, problem: str, remedy: str) -> InputError:
    return InputError.one(problem, remedy, column=COLUMN, value=file, code="text")


def _faults(auth: Mapping[str, Any], proxy: str) -> Iterator[Fault]:
    """What is wrong with the section; nothing that stands in it is among that, for it is secret."""
    texts = {name: value if isinstance(value := auth.get(name), str) else "" for name in NEEDED}
    for name in auth:
        if isinstance(auth[name], dict) and name != "client_kwargs":
            remedy = "write the one provider into [auth] itself"
            yield Fault("", None, "[auth]", name, "is another provider's section", remedy, "conflict")
    for name, text in texts.items():
        if not text:
            remedy = "write it as Streamlit's documentation of st.login says"
            yield Fault("", None, "[auth]", name, "is missing", remedy, "missing")
    if texts["cookie_secret"] and len(texts["cookie_secret"]) < LEAST_SECRET:
        remedy = 'make one: python -c "import secrets; print(secrets.token_hex(32))"'
        yield Fault("", None, "[auth]", "cookie_secret", f"has less than {LEAST_SECRET} characters", remedy, "limits")
    if (back := texts["redirect_uri"]) and not _is_ours(urlsplit(back), proxy):
        remedy = f"write https://{proxy}{CALLBACK}"
        yield Fault("", None, "[auth]", "redirect_uri", "is not this page's own", remedy, "text")
    if (told := texts["server_metadata_url"]) and not _is_safe(urlsplit(told)):
        remedy = "write it with https://"
        yield Fault("", None, "[auth]", "server_metadata_url", "goes over an open line", remedy, "text")


def _is_ours(address: SplitResult, proxy: str) -> bool:
    whole = address.path == CALLBACK and not (address.query or address.fragment or address.username)
    return _is_safe(address) and address.hostname == proxy and whole


def _is_safe(address: SplitResult) -> bool:
    own = address.hostname in OWN_MACHINE
    return bool(address.hostname) and (address.scheme == "https" or (own and address.scheme == "http"))


def check_register() -> None:
    """Refuse a register without members: a file has none, and without any, whoever signed in could do nothing.

    Raises
    ------
    CannotError
        The register that the page is to open has none.
    """
    opens = calib.default_register_path()
    if not isinstance(opens, Lakehouse):
        remedy = "name a lakehouse's address with --register, or leave out --sign-in"
        raise CannotError(f"{opens}: a register's file has no members, so nobody can sign in to it; {remedy}")
    there = calib.members(opens.address)
    if not (there["signs_in"] & there["role"].ne(TAKEN_OUT)).any():
        remedy = "give somebody a role first: calib member ADDRESS who@example --role … --signs-in"
        raise CannotError(f"{opens}: none of its members signs in on the page; {remedy}")


def holds(signing: SignIn) -> bool:
    """Whether the server in this process reads the section as it was checked."""
    from streamlit.auth_util import get_secrets_auth_section

    return bool(get_secrets_auth_section().to_dict() == signing.auth)


def verified() -> str:
    """The e-mail of whoever signed in to this visit, where the provider says that it is verified; else blank."""
    told = st.user.to_dict()
    e_mail = told.get("email")
    sure = told.get("is_logged_in") is True and told.get("email_verified") is True
    return e_mail if sure and isinstance(e_mail, str) and E_MAIL.fullmatch(e_mail) and e_mail.isprintable() else ""


def place() -> Any:
    """Where the register is that this visit opens: it goes with it who signed in, for all that is done there.

    A button's doing comes before the page asks who is there; so it is asked here too, at every opening.

    Raises
    ------
    RegisterError
        One has to sign in, and nobody has.
    """
    opens = calib.default_register_path()
    if not ASKED.is_set():
        return opens
    who = verified()
    if not who or not isinstance(opens, Lakehouse):
        raise RegisterError("nobody is signed in here; sign in, and try again")
    return Lakehouse(opens.address, by=who)


def ask() -> None:
    """Let nobody pass who has not signed in, where one has to: the page has a button for it then, and no more."""
    if not ASKED.is_set():
        return
    who = verified()
    if st.session_state.get(AS, who) != who:  # what another one typed is not theirs
        st.session_state.clear()
    st.session_state[AS] = who
    if who:
        with st.sidebar:
            st.text(f"Signed in: {who}")
            st.button("Sign out", key="sign_out", on_click=st.logout)
        return
    st.title("calib", anchor=False)
    if st.user.to_dict().get("is_logged_in") is True:
        told = str(st.user.to_dict().get("email") or "of nobody")
        what = f"Your provider does not say that the e-mail {told} is verified, so it does not count."
        st.error(words.plain(f"{what} Sign out, and sign in with one that it has verified."))
        st.button("Sign out", key="sign_out", on_click=st.logout)
    else:
        st.write("The register of this page is open to its members.")
        st.button("Sign in", key="sign_in", on_click=st.login, type="primary")
    st.stop()
