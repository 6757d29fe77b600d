"""``calib export`` and ``merge``: the register handed out as a bundle, and somebody's bundle brought in."""

from __future__ import annotations

import argparse
import csv
import time
from collections.abc import Callable, Collection
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.cli.options import HERE, all_of, existing_register, register_path
from calib.cli.output import MOST_NOTED, as_json, note, plain, rows_of, say, say_done
from calib.cli.register_commands import refuse_stopped, told_when_interrupted
from calib.errors import InputError, visible

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
