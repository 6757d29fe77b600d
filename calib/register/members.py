"""Who may write a register that many share: readers, contributors of their own records, and curators of all."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from calib.errors import Fault, InputError, RegisterError, visible
from calib.register.fields import line
from calib.register.file import opened
from calib.register.gate import transaction
from calib.register.lakehouse import SIGNS_IN, TAKEN_OUT, Lakehouse, place_of
from calib.register.revisions import CONTRIBUTOR, CURATOR
from calib.register.trouble import WAIT_S

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

READER = "reader"
ROLES = (READER, CONTRIBUTOR, CURATOR, TAKEN_OUT)
E_MAIL = re.compile(r"[^\s@]+@[^\s@]+")
RIGHTS = {READER: "SELECT", TAKEN_OUT: ""}  # on the tables; who else has a role writes
WRITING = "SELECT, INSERT, UPDATE, DELETE"


def set_member(
    address: str, login: str, role: str, contributor: str = "", *, signs_in: bool = False, wait: float = WAIT_S
) -> None:
    """Give a login of the catalogue a role in a register, and the rights on the catalogue that it needs.

    Reading and writing are enforced by PostgreSQL's rights. That a contributor writes records of one contributor alone
    is enforced by calib: whoever writes the tables by other means can append a revision of any record, and forge as
    what it was written. The folder of the data must be guarded besides: whoever may write files there may spoil them.

    Parameters
    ----------
    address : str
        The register's, ``ducklake:postgres:…``, as a login that owns the database.
    login : str
        A login that PostgreSQL has; calib makes none, and knows no password. Or the e-mail of whoever signs in on the
        page, letter by letter as the provider gives it.
    role : str
        Of ROLES: 'reader' reads; 'contributor' reads, and writes the records of one contributor; 'curator' writes all;
        'none' takes a member out, who then neither reads nor writes. What they wrote as a member stays as it was.
    contributor : str
        Whose records a contributor writes.
    signs_in : bool
        Whether it is such an e-mail. Its role is enforced by calib alone: PostgreSQL knows the page's own login.
    wait : float
        How long to wait for others who write [s].

    Raises
    ------
    InputError
        What is given is not as said, PostgreSQL has no such login, or whoever is taken out is no member.
    RegisterError
        The catalogue cannot be reached, or the login of the address may not give roles.
    """
    place = _lakehouse(address)
    login, contributor = line("by", login), line("contributor", contributor)
    if faults := [*_wrong_name(login, signs_in), *_wrong(login, role, contributor)]:
        raise InputError(faults)
    with place.turn(wait) as (giver, owns):
        if not owns:
            raise RegisterError(
                f"{visible(giver)} does not own the catalogue and may give no roles in it; ask its owner"
            )
        if login == giver and not signs_in and role in RIGHTS:
            problem, remedy = "owns the catalogue and could then give no roles", "let another of its owners do it"
            raise InputError.one(problem, remedy, column="login", value=login, code="conflict")
    name = f"{SIGNS_IN}{login}" if signs_in else login
    with opened(place, wait, write=True) as con, transaction(con):
        if role == TAKEN_OUT:
            _refuse_to_take_out(con, name)
        row = [name, role, contributor or None, datetime.now(UTC).replace(tzinfo=None)]
        con.execute("INSERT INTO members VALUES (?, ?, ?, ?)", row)
        if not signs_in:
            _set_rights(place, login, role)


def _refuse_to_take_out(con: duckdb.DuckDBPyConnection, name: str) -> None:
    asked = 'SELECT 1 FROM latest_members WHERE login = ? AND "role" <> ?'
    if not con.execute(asked, [name, TAKEN_OUT]).fetchone():
        remedy = "see who is one: calib member ADDRESS; whoever signs in on the page is named with --signs-in"
        raise InputError.one(
            "is no member", remedy, column="login", value=name.removeprefix(SIGNS_IN), code="not-found"
        )


def members(address: str, *, wait: float = WAIT_S) -> pd.DataFrame:
    """Who has a role in a register: login, role, contributor, made_at (UTC) and whether they sign in on the page.

    Whoever was taken out has the role 'none'. No row where nobody ever had a role, so that all who may write write all.

    Raises
    ------
    InputError
        That is no lakehouse's address.
    RegisterError
        The catalogue cannot be reached.
    """
    with opened(_lakehouse(address), wait) as con:
        asked = """
            SELECT CASE WHEN starts_with(login, $1) THEN substr(login, 1 + length($1)) ELSE login END AS login, "role",
                coalesce(contributor, '') AS contributor, made_at, starts_with(login, $1) AS signs_in
            FROM latest_members ORDER BY ALL
        """
        return con.execute(asked, [SIGNS_IN]).df()


def _lakehouse(address: str) -> Lakehouse:
    place = place_of(address)
    if not isinstance(place, Lakehouse):
        problem, remedy = "is no lakehouse's address", "begin it with ducklake:postgres:; a file has no members"
        raise InputError.one(problem, remedy, column="ADDRESS", value=address, code="text")
    return place


def _wrong_name(login: str, signs_in: bool) -> Iterator[Fault]:
    if login and signs_in and not E_MAIL.fullmatch(login):
        remedy = "give it as the provider does, such as anna@club.example"
        yield Fault("", None, "login", login, "is no e-mail", remedy, "text")
    elif login.startswith(SIGNS_IN):
        remedy = f"leave out {SIGNS_IN} and say that they sign in, or give a login that does not begin so"
        yield Fault("", None, "login", login, "is no login's name", remedy, "text")


def _wrong(login: str, role: str, contributor: str) -> Iterator[Fault]:
    if not login:
        yield Fault("", None, "login", "", "nobody is named", "name a login of PostgreSQL", "missing")
    if role not in ROLES:
        yield Fault("", None, "role", role, "is no role", f"give one of {', '.join(ROLES)}", "choice")
    elif role == CONTRIBUTOR and not contributor:
        remedy = "say whose records they write, as the records name the contributor"
        yield Fault(
            "", None, "contributor", "", "a contributor writes the records of one contributor", remedy, "missing"
        )
    elif role != CONTRIBUTOR and contributor:
        who = "whoever is taken out" if role == TAKEN_OUT else f"a {role}"
        problem, remedy = f"{who} is not bound to one contributor", "leave the contributor out"
        yield Fault("", None, "contributor", contributor, problem, remedy, "conflict")


def _set_rights(place: Lakehouse, login: str, role: str) -> None:
    """Give a login the rights of a role on every table of the catalogue, and on those that its owner will make."""
    from psycopg import sql

    rights = RIGHTS.get(role, WRITING)
    statements = [
        "REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {login}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA public REVOKE ALL ON TABLES FROM {login}",
        "REVOKE CONNECT ON DATABASE {database} FROM {login}",
        "REVOKE USAGE ON SCHEMA public FROM {login}",
    ]
    if rights:
        statements[2:] = [
            "GRANT CONNECT ON DATABASE {database} TO {login}",
            "GRANT USAGE ON SCHEMA public TO {login}",
            "GRANT {rights} ON ALL TABLES IN SCHEMA public TO {login}",
            "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT {rights} ON TABLES TO {login}",
        ]
    with place.explained(), closing(place.client()) as client:
        if not client.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [login]).fetchone():
            if role == TAKEN_OUT:  # PostgreSQL has let them go before
                return
            remedy = (
                f"""make it in PostgreSQL first, with a password of its own: CREATE ROLE "{login}" LOGIN PASSWORD '…'"""
            )
            raise InputError.one("PostgreSQL has no such login", remedy, column="login", value=login, code="not-found")
        ((database,),) = client.execute("SELECT current_database()").fetchall()
        names = {"login": sql.Identifier(login), "database": sql.Identifier(database), "rights": sql.SQL(rights)}
        with client.transaction():
            for statement in statements:
                client.execute(sql.SQL(statement).format(**names))


def told(table: pd.DataFrame) -> Iterable[str]:
    """One line a member."""
    for row in table.to_dict("records"):
        way = ", signs in on the page" * bool(row["signs_in"])
        role = "taken out" if row["role"] == TAKEN_OUT else row["role"]
        yield f"{row['login']}: {role}{' of ' * bool(row['contributor'])}{row['contributor']}{way}"
