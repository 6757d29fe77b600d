"""Many records at once: ``calib import``, ``export`` and ``merge``, tables and bundles in and out.

``calib backup``, ``restore-from`` and ``check``: the register copied, put back from a copy, and read through.
``calib set-up``, ``member`` and ``carry``: a register that many write at once, who may write it, and its content.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections.abc import Callable, Collection
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.cli.register_commands import refuse_stopped, told, told_when_interrupted, who_and_why
from calib.cli.terminal import (
    HERE,
    MOST_NOTED,
    all_of,
    as_json,
    check_target,
    decimal_of,
    existing_register,
    note,
    plain,
    register_path,
    rows_of,
    say,
    say_done,
    write_whole,
)
from calib.errors import CannotError, InputError, visible

if TYPE_CHECKING:
    import pandas as pd

    from calib.register.merge import Bundle, Merged

TELL_EVERY_S = 2.0


def run_export(asked: argparse.Namespace) -> None:
    """Write the current view, the history and their descriptor."""
    from calib.register.fields import line
    from calib.register.register import Register

    path, licence = all_of(
        lambda: existing_register(asked.register), lambda: line("licence", asked.licence, "--licence")
    )
    with Register(path) as register:
        try:
            known, _, _, *attached = register.export(asked.folder, force=asked.force, licence=licence)
        except KeyboardInterrupt:
            raise KeyboardInterrupt(f"the export into {asked.folder} may not be whole: run it again") from None
    with open(known, encoding="utf-8", newline="") as file:
        count = sum(1 for _ in csv.reader(file)) - 1
    more = f", with {len(attached) - 1} attached files" if attached else ""
    say_done(f"wrote known.csv ({count} known units), revisions.csv and datapackage.json in {asked.folder}{more}")


def run_merge(asked: argparse.Namespace) -> None:
    """Tell what a bundle has more than the register, and bring it in; the register is created where there is none."""
    from calib.register.fields import line
    from calib.register.merge import read_bundle
    from calib.register.register import Register

    progress = _progress()
    path, bundle, _ = all_of(
        lambda: register_path(asked.register),
        lambda: read_bundle(asked.folder, progress=progress),
        lambda: line("by", asked.by, "--by"),
    )
    if not path.exists():
        if asked.take:
            _not_contradicting(asked.take[0])
        if asked.preview:
            if asked.format == "json":
                say(as_json(_told(bundle, path)))
            else:
                say(f"{len(bundle.latest)} new; nothing was written, and there is no register {path} yet")
            return
    with told_when_interrupted(path, partial(_rows_of, bundle)):
        register = Register(path, simulated=bundle.simulated and not path.exists())
        found = register.merge(bundle, preview=True)
        take = [_pair(typed, found) for typed in asked.take or ()]
        if asked.format == "text":
            _tell(found, bundle, take)
        if asked.preview:
            preview = as_json(_told(bundle, path, found, take))
            say(preview if asked.format == "json" else f"preview: nothing was written to {path}")
            return
        refuse_stopped(register, found.coming(bundle, take), bundle.name)
        done = register.merge(bundle, asked.by, take, progress=progress)
    if asked.format == "json":
        say_done(as_json(_told(bundle, path, done, take)))
        return
    more = f" and {done.attached} of attached files" if done.attached else ""
    some = "revision" if done.written == 1 else "revisions"
    say_done(f"{done.written} {some}{more} brought in; the register {path} holds {done.holds} known units")


def _rows_of(bundle: Bundle) -> pd.DataFrame:
    latest = bundle.latest
    return latest[latest["action"] != "withdraw"]


def _tell(found: Merged, bundle: Bundle, take: list[tuple[str, str]]) -> None:
    """What the bundle would change, a line for each record that is amended or contradicts."""
    licence = bundle.licence or "not said"
    say(f"{bundle.name}: {found}; licence: {licence}")
    for state in ("amended", "amended here"):
        listed = found.records[found.records["state"].eq(state)]
        _list([f"{state}: {one.contributor}, {one.unit}" for one in listed.itertuples()])
    taken = {True: "taken from there, for review", False: "stays as it is here; --take takes the other"}
    _list([f"contradicting: {one}; {taken[(one.contributor, one.unit) in take]}" for one in found.contradicting])


def _told(
    bundle: Bundle, path: Path, found: Merged | None = None, take: Collection[tuple[str, str]] = ()
) -> dict[str, Any]:
    """What a bundle would change, or did, as JSON has it; where there is no register yet, all of it is new."""
    from calib.register.merge import NEW

    history = bundle.attached.history
    if found is None:
        rows = [
            {"contributor": one.contributor, "unit": one.unit, "state": NEW, "taken": False}
            for one in bundle.latest.itertuples()
        ]
    else:
        rows = rows_of(found.records[["contributor", "unit", "state"]])
        rows = [{**one, "taken": (one["contributor"], one["unit"]) in take} for one in rows]
    differing = [
        {
            "contributor": one.contributor,
            "unit": one.unit,
            "cells": [{"column": name, "here": plain(here), "there": plain(there)} for name, here, there in one.cells],
            "here_by": one.ours,
            "there_by": one.theirs,
        }
        for one in (found.contradicting if found else ())
    ]
    return {
        "bundle": bundle.name,
        "licence": bundle.licence or None,
        "register": str(path),
        "simulated": bundle.simulated,
        "records": rows,
        "contradicting": differing,
        "written": found.written if found else 0,
        "attached": found.attached if found else 0 if history is None else len(history),
        "holds": found.holds if found else 0,
    }


def _list(lines: list[str]) -> None:
    for text in lines[:MOST_NOTED]:
        say(visible(text))
    if len(lines) > MOST_NOTED:
        say(f"and {len(lines) - MOST_NOTED} more")


def _pair(typed: str, found: Merged) -> tuple[str, str]:
    """The contradicting record that was named, by its unit or by contributor and unit."""
    pairs = [(one.contributor, one.unit) for one in found.contradicting]
    named = [pair for pair in pairs if typed in (pair[1], ", ".join(pair))]
    if len(named) > 1:
        problem, remedy = "is the unit of several contributors", "write the contributor, a comma and the unit"
        raise InputError.one(problem, remedy, column="--take", value=typed, where=HERE, code="unclear")
    return named[0] if named else _not_contradicting(typed)


def _not_contradicting(typed: str) -> tuple[str, str]:
    problem, remedy = "is no contradicting record", "take one that --preview lists as contradicting"
    raise InputError.one(problem, remedy, column="--take", value=typed, where=HERE, code="not-found")


def _progress() -> Callable[[str, int], None]:
    """Tell how far a long piece of work is, every other second."""
    last = time.monotonic()

    def tell(what: str, rows: int) -> None:
        nonlocal last
        if time.monotonic() - last > TELL_EVERY_S:
            last = time.monotonic()
            note(f"{what}: {rows} rows")

    return tell


def run_import(asked: argparse.Namespace) -> None:
    """Bring every row of a table into the register, or none; the register is created where there is none."""
    if asked.template is not None:
        write_template(asked)
        return
    from calib.register.bulk import Large, read_large
    from calib.register.register import Register
    from calib.register.tables import name_of, read_known

    if asked.file is None:
        remedy = "name a CSV file, or have a blank one written with --template"
        raise InputError.one("no table is named", remedy, column="FILE", where=HERE, code="missing")
    path, table, *_ = all_of(
        lambda: register_path(asked.register),
        lambda: read_large(asked.file) or read_known(asked.file, decimal=decimal_of(asked)),
        *who_and_why(asked),
    )
    where = name_of(asked.file)
    simulated = False if path.exists() else kind_of(table.kinds if isinstance(table, Large) else table, where)
    with told_when_interrupted(path, lambda: table):
        with Register(path, simulated=simulated) as register:
            refuse_stopped(register, table, where)
            report = register.import_table(table, by=asked.by, reason=asked.reason, where=where)
        told(report, path)


def write_template(asked: argparse.Namespace) -> None:
    """Write a blank table of known units to a new file, and print what its columns are."""
    from calib.register.records import KnownUnit
    from calib.register.tables import columns_explained, template

    if asked.file is not None:
        problem, remedy = "a table is named too", "name one to bring in, or one to write"
        raise InputError.one(problem, remedy, column="--template", value=asked.template, where=HERE, code="conflict")
    check_target(asked.template)
    if Path(asked.template).exists():
        problem, remedy = "there is a file of that name", "name a new one"
        raise InputError.one(problem, remedy, column="--template", value=asked.template, where=HERE, code="exists")
    write_whole(template(KnownUnit), asked.template)
    say("\n".join(f"{name}: {told}" for name, told in columns_explained(KnownUnit)))


def kind_of(table: pd.DataFrame, where: str) -> bool:
    """Whether the register that a table is to begin is one of simulated records.

    Raises
    ------
    InputError
        It mixes the two kinds: nothing is begun then.
    """
    simulated = table["simulated"]
    if simulated.any() and not simulated.all():
        problem = f"{simulated.sum()} of the {len(simulated)} records are simulated, and the others are not"
        raise InputError.one(
            problem, "bring them in as two tables, into two registers", column="simulated", where=where, code="kind"
        )
    return bool(simulated.any())


def run_backup(asked: argparse.Namespace) -> None:
    """Copy the register, its whole history with it, and read the copy through."""
    from calib.register.register import Register

    with Register(existing_register(asked.register), create=False) as register:
        try:
            copy = register.backup(asked.file)
        except KeyboardInterrupt:
            raise KeyboardInterrupt(f"{asked.file} is not there, or is whole") from None
    say_done(f"copied {register.path} to {copy}, and read the copy through: it is the same")


def run_restore(asked: argparse.Namespace) -> None:
    """Put a copy of a backup in the register's place; what was there is moved aside, never deleted."""
    from calib.register.safekeeping import restore_register

    if not Path(asked.backup).exists():
        remedy = "name a backup"
        raise InputError.one(
            "there is no such file", remedy, column="BACKUP", value=asked.backup, where=HERE, code="not-found"
        )
    path = register_path(asked.register)
    try:
        found, moved = restore_register(asked.backup, path)
    except KeyboardInterrupt:
        raise KeyboardInterrupt(f"{path} is as it was, or the whole backup: calib check reads it through") from None
    was = f"; what was there is now {moved}" if moved else ""
    say_done(f"restored {found.path} from {asked.backup}; known units: {found.standing}{was}")


def run_check(asked: argparse.Namespace) -> None:
    """Read every block of the register, and hold its tables against each other.

    Raises
    ------
    CannotError
        Something is wrong with it: what, was printed.
    """
    from calib.register.safekeeping import check_register

    found = check_register(existing_register(asked.register))
    say("\n".join(visible(line) for line in str(found).splitlines()))
    if not found.is_sound:
        number = len(found.findings)
        wrong = "thing is wrong with it" if number == 1 else "things are wrong with it"
        raise CannotError(f"{found.path}: {number} {wrong}, told above with what to do")


def run_set_up(asked: argparse.Namespace) -> None:
    """Make a register in a lakehouse, where there is none."""
    from calib.register.moving import set_up_lakehouse

    register = set_up_lakehouse(asked.address, asked.data_path, simulated=asked.simulated == "true")
    kind = "simulated" if register.is_simulated else "real"
    say_done(f"{register.path} is a register of {kind} records; known units: {len(register.known())}")


def run_member(asked: argparse.Namespace) -> None:
    """Give a login a role in a lakehouse's register, or tell who has which."""
    from calib.register.members import members, set_member, told

    if asked.login is None:
        if asked.role or asked.contributor or asked.signs_in:
            given = "--role" if asked.role else "--contributor" if asked.contributor else "--signs-in"
            value = asked.role or asked.contributor
            problem, remedy = "is given without a login", "name the login too, or leave it out"
            raise InputError.one(problem, remedy, column=given, value=value, where=HERE, code="conflict")
        say(
            "\n".join(told(members(asked.address)))
            or "nobody has a role: whoever may write in the catalogue writes all"
        )
        return
    set_member(asked.address, asked.login, asked.role or "", asked.contributor or "", signs_in=asked.signs_in)
    there = members(asked.address)
    of_them = there["login"].eq(asked.login) & there["signs_in"].eq(asked.signs_in)
    say_done("\n".join(told(there[of_them])))


def run_carry(asked: argparse.Namespace) -> None:
    """Copy a whole register from a file into a lakehouse, or out of one."""
    from calib.register.moving import carry

    try:
        carried = carry(asked.source, asked.target)
    except KeyboardInterrupt:
        raise KeyboardInterrupt(f"{asked.target} may not hold all of it: run it again, which brings the rest") from None
    say_done(str(carried))
