"""One record: ``calib add``, ``amend``, ``withdraw``, ``restore``, ``history``, and ``attach`` for its files."""

from __future__ import annotations

import argparse
import signal
from collections.abc import Callable, Container, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.cli.terminal import (
    HERE,
    all_of,
    as_json,
    check_target,
    existing_register,
    note,
    register_path,
    rows_of,
    say,
    say_done,
    write_whole,
)
from calib.errors import SHOWN, CannotError, Fault, InputError, visible

if TYPE_CHECKING:
    import pandas as pd

    from calib.register.attachments import Attachment, Owner
    from calib.register.bulk import Large
    from calib.register.records import KnownUnit
    from calib.register.register import Register
    from calib.register.revisions import ImportReport

ADD, AMEND = "calib add", "calib amend"
NO_REASON = ("yes", "true", "y", "1", "x", "ok", "right", "kept", "no", "false", "n", "0")  # beside --kept
TAKE_A_RECORD = ("add", "amend")


def declare_record(part: argparse.ArgumentParser, declared: Container[str]) -> None:
    """The options for a record, one for each column, made from its own fields; those declared already are left out."""
    from calib.register.records import KnownUnit, fields

    columns = part.add_argument_group(
        "the record",
        "each option takes a value, a number with comma or point and its unit behind; leave out what was not measured, "
        "or, where a record is amended, what stays; an empty value clears the cell",
    )
    for fact in fields(KnownUnit):
        option = f"--{fact.name.replace('_', '-')}"
        if option in declared or fact.name in declared:
            continue
        takes = "|".join(fact.choices) or fact.kind.upper()
        says = "; ".join(part for part in ("needed" if fact.needed else "", fact.limits) if part)
        told = (f"{fact.help} [{says}]" if says else fact.help).replace("%", "%%")
        columns.add_argument(option, metavar=takes, help=told)


def run_add(asked: argparse.Namespace) -> None:
    """Add one known unit; the register is created where there is none."""
    from calib.register.frame import frame_of
    from calib.register.records import KnownUnit, fields
    from calib.register.register import Register

    typed = {fact.name: getattr(asked, fact.name) or "" for fact in fields(KnownUnit)}
    path, record, *_ = all_of(
        lambda: register_path(asked.register),
        lambda: _record_of(typed),
        *who_and_why(asked),
    )
    with told_when_interrupted(path, lambda: frame_of(KnownUnit, [record])):
        with Register(path, simulated=record.simulated) as register:
            refuse_stopped(register, frame_of(KnownUnit, [record]), ADD)
            report = register.add(record, by=asked.by, reason=asked.reason or record.kept, revise=False)
        told(report, path)


def _record_of(typed: dict[str, str], stands: KnownUnit | None = None) -> KnownUnit:
    """The record of what was typed: a number with a comma or a unit is read as the forms read it, and said.

    Parameters
    ----------
    typed : dict of str to str
        By column; blank for none.
    stands : KnownUnit or None
        The record that it amends: columns that are not typed stay as they are.

    Raises
    ------
    InputError
        With every fault of it.
    """
    from calib.register.records import KnownUnit, fields
    from calib.units import NotRead, read_number

    where = AMEND if stands else ADD
    if typed.get("kept", "").strip().casefold() in NO_REASON:
        remedy = "say what was looked at, such as: read again on another meter"
        raise InputError.one("tells no reason", remedy, column="kept", value=typed["kept"], where=where, code="missing")
    values: dict[str, object] = {**(stands.entered() if stands else {}), **typed}
    order = [fact.name for fact in fields(KnownUnit)]
    said, faults = [], []
    for fact in fields(KnownUnit):
        text = typed.get(fact.name, "").strip()
        if fact.kind != "number" or not text:
            continue
        try:
            one = read_number(text, fact.unit, "", fact.usual)
        except NotRead as error:
            faults.append(Fault(where, None, fact.name, text, error.problem, error.remedy, error.code))
            continue
        values[fact.name] = one.kept
        said += [f"--{fact.name.replace('_', '-')}: {one.aloud}"] if one.aloud else []
    try:
        record = KnownUnit.parse(values, where=where)
    except InputError as error:
        # Text that is no number is refused there too, in the words of a table.
        mine = {fault.column for fault in faults}
        faults += [fault for fault in error.faults if fault.column not in mine]
        raise InputError(sorted(faults, key=lambda fault: order.index(fault.column))) from None
    if faults:
        raise InputError(faults)
    for one_line in said:
        note(one_line)
    return record


def run_amend(asked: argparse.Namespace) -> None:
    """Put what was typed in the place of those columns of a record; the whole is checked as a new one is."""
    from calib.register.improbable import improbabilities
    from calib.register.records import KnownUnit, fields

    typed = {fact.name: text for fact in fields(KnownUnit) if (text := getattr(asked, fact.name)) is not None}
    named = {name: typed.pop(name) for name in ("unit", "contributor")}
    with _revised(asked) as (register, by):
        if not typed:
            remedy = "give an option for each column that is to be another, such as --rated-current-ma 90"
            raise InputError.one("nothing to amend", remedy, where=AMEND, code="missing")
        stands = register.record(named["contributor"], named["unit"])
        record = _record_of(typed, stands)
        if record == stands:
            say(f"{_name(asked)} has these values already: nothing was changed")
            return
        register.amend(record, by=by, reason=asked.why, instead_of=stands)
        for one in improbabilities(record):
            note(f"{record.unit}: {one.column}: {one.why}")
        old, new = stands.values(), record.values()
        told = ", ".join(f"{name} {_cell(old[name])} -> {_cell(new[name])}" for name in new if old[name] != new[name])
        say_done(f"amended {_name(asked)}: {told}")


def run_withdraw(asked: argparse.Namespace) -> None:
    """Take one record out of those that count."""
    with _revised(asked) as (register, by):
        register.withdraw(asked.contributor, asked.unit, by=by, reason=asked.why)
        say_done(f"withdrew {_name(asked)}; its history stays, and calib restore lets it count again")


def run_put_back(asked: argparse.Namespace) -> None:
    """Let one record count again: as before it was withdrawn, or as it stood at an earlier revision."""
    number = None if asked.revision is None else _revision(asked.revision)
    with _revised(asked) as (register, by):
        if number is None:
            history = register.history(asked.contributor, asked.unit)
            refuse_stopped(register, history.tail(1), "calib restore")
        register.restore(asked.contributor, asked.unit, by=by, reason=asked.why, revision=number)
        rated = register.history(asked.contributor, asked.unit)["rated_current_ma"].iloc[-1]
        say_done(f"restored {_name(asked)}, rated {rated:g} mA; calib history tells the rest")


def _revision(typed: str) -> int:
    if typed.isascii() and typed.isdigit() and int(typed[:9]) > 0:
        return int(typed[:9])
    remedy = "give a number that calib history lists, such as 1"
    raise InputError.one(
        "is no revision's number", remedy, column="--revision", value=typed, where=HERE, code="not-a-number"
    )


def _name(asked: argparse.Namespace) -> str:
    return visible(f"{asked.unit} of {asked.contributor}", SHOWN)


def _cell(value: object) -> str:
    """A value of a record in a line of text."""
    from calib.register.fields import is_blank

    if is_blank(value):
        return "(blank)"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.12g}" if isinstance(value, float) else visible(str(value), SHOWN)


@contextmanager
def _revised(asked: argparse.Namespace) -> Iterator[tuple[Register, str]]:
    """The register that holds the record, and who revises it; an interruption says whether the revision is in."""
    from calib.register.fields import line
    from calib.register.register import Register

    path, why, by = all_of(
        lambda: existing_register(asked.register),
        lambda: line("why", asked.why, "--why"),
        lambda: line("by", asked.by, "--by"),
    )
    if not why:
        raise InputError.one("is needed", "say why, for the history", column="--why", where=HERE, code="missing")
    with Register(path, create=False) as register:
        before = len(register.history(asked.contributor, asked.unit))
        try:
            yield register, by or asked.contributor
        except KeyboardInterrupt:
            with held_off():
                raise KeyboardInterrupt(_whether_revised(register, asked, before)) from None


def _whether_revised(register: Register, asked: argparse.Namespace, before: int) -> str:
    try:
        more = len(register.history(asked.contributor, asked.unit)) - before
    except CannotError as error:
        return f"whether the record was revised is unknown: {error}"
    return f"the record was revised: {_name(asked)}, {register.path}" if more else "nothing was written"


def run_history(asked: argparse.Namespace) -> None:
    """Print the revisions of one record: when, who, why, and what each changed."""
    from calib.register.register import Register
    from calib.register.revisions import changes

    with Register(existing_register(asked.register), create=False) as register:
        history = register.history(asked.contributor, asked.unit)
        if history.empty:
            register.record(asked.contributor, asked.unit)  # it is not there: with the tags near to it
        attached = history_lines(register, asked.contributor, asked.unit) if asked.format == "text" else []
    changed = changes(history)
    told = []
    for one in rows_of(history[["revision", "action", "made_at", "by", "reason", "needs_review"]]):
        mine = changed[changed["revision"].eq(one["revision"])].drop(columns="revision")
        when = one["made_at"].isoformat(timespec="microseconds")
        told.append({**one, "made_at": when, "changed": rows_of(mine)})
    say(as_json(told) if asked.format == "json" else "\n".join([_history_in_words(told), *attached]))


def _history_in_words(told: list[dict[str, Any]]) -> str:
    lines = []
    for one in told:
        when = one["made_at"][:19].replace("T", " ")
        why = f": {visible(one['reason'])}" if one["reason"] else ""
        why += " (marked for review)" if one["needs_review"] else ""
        lines.append(f"{one['revision']}  {when} UTC  {one['action']}  by {visible(one['by'] or '(not told)')}{why}")
        lines += [f"   {each['column']}: {_cell(each['before'])} -> {_cell(each['after'])}" for each in one["changed"]]
    return "\n".join(lines)


def refuse_stopped(register: Register, table: pd.DataFrame | Large, where: str) -> None:
    """Refuse units that a session at the bench stops; where there is no session the session wing is not even loaded."""
    if len(register.sessions()):
        from calib.register.bulk import Large
        from calib.session.interpret import refuse_stopped

        refuse_stopped(register, table.named if isinstance(table, Large) else table, where)


@contextmanager
def told_when_interrupted(path: Path, rows: Callable[[], pd.DataFrame | Large]) -> Iterator[None]:
    """Let an interruption say whether the rows are in, by looking for them in the register."""
    try:
        yield
    except KeyboardInterrupt:
        with held_off():
            raise KeyboardInterrupt(_where_the_rows_are(path, rows())) from None


def _where_the_rows_are(path: Path, rows: pd.DataFrame | Large) -> str:
    from calib.register.register import Register

    if not path.exists():
        return "nothing was written"
    try:
        with Register(path, create=False) as register:
            if register.holds(rows):
                return f"the rows are in, all of them: {path}"
            return f"the rows are not in, none of them: {path} holds {register.count()} known units"
    except CannotError as error:
        return f"whether the rows are in is unknown: {error}"


@contextmanager
def held_off() -> Iterator[None]:
    """Let no further interruption in for a moment."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def told(report: ImportReport, path: Path) -> None:
    """Say what became of the records brought in; what is to be looked at goes out as notes."""
    for text in report.notes:
        note(text)
    done = f"{report.added} added, {report.unchanged} there already, {report.revised} revised"
    say_done(f"{done}; the register {path} holds {report.holds} known units")


def who_and_why(asked: argparse.Namespace) -> tuple[Callable[[], str], ...]:
    """The checks of who makes an entry and why: made before anything else is."""
    from calib.register.fields import line

    return (lambda: line("by", asked.by, "--by"), lambda: line("reason", asked.reason, "--reason"))


ACTS = {"--file": "file", "--write-out": "write_out", "--take-off": "take_off"}


def run_attach(asked: argparse.Namespace) -> None:
    """Attach a file, or list, write out or take off what is attached."""
    from calib.register.attachments import of_record, read_evidence
    from calib.register.fields import line
    from calib.register.register import Register

    _one_act(asked)
    path, given, why, by = all_of(
        lambda: existing_register(asked.register),
        lambda: None if asked.file is None else read_evidence(asked.file),
        lambda: line("why", asked.why, "--why"),
        lambda: line("by", asked.by, "--by"),
    )
    owner = of_record(asked.contributor, asked.unit)
    register = Register(path, create=False)
    if register.history(asked.contributor, asked.unit).empty:
        register.record(asked.contributor, asked.unit)  # it is not there: with the tags near to it
    if given is not None:
        new = register.attach(owner, given, by or asked.contributor, why)
        what = f"{given.name} ({_kind(given.media)}, {_size(len(given.content))}, {given.sha256[:8]})"
        say_done(f"attached {what} to {_unit(asked)}" if new else f"{what} is attached already: nothing was written")
        if new and given.media == "application/pdf":
            _warn()
    elif asked.take_off is not None:
        one = _which(register, owner, asked.take_off, "--take-off")
        register.detach(owner, one.sha256, by or asked.contributor, why)
        say_done(f"took {visible(one.name, SHOWN)} off {_unit(asked)}; the history keeps that it was attached")
    elif asked.write_out is not None:
        _write_out(register, owner, asked)
    else:
        _list(register, owner, asked)


def _one_act(asked: argparse.Namespace) -> None:
    """Refuse several things at once, and a file to write that is not asked for or cannot be one."""
    acts = [option for option, name in ACTS.items() if getattr(asked, name) is not None]
    if len(acts) > 1:
        problem, remedy = f"stands beside {acts[0]}", "do one after the other"
        raise InputError.one(problem, remedy, column=acts[1], where=HERE, code="conflict")
    if (asked.out is None) != (asked.write_out is None):
        problem, remedy = "is needed with the other", "give both --write-out and --out"
        column = "--out" if asked.out is None else "--write-out"
        raise InputError.one(problem, remedy, column=column, where=HERE, code="missing")
    if asked.out is not None:
        check_target(asked.out)
        if Path(asked.out).exists():
            problem, remedy = "there is a file of that name", "name a new one"
            raise InputError.one(problem, remedy, column="--out", value=asked.out, where=HERE, code="exists")


def _which(register: Register, owner: Owner, named: str, option: str) -> Attachment:
    from calib.register.attachments import the_one

    try:
        return the_one(register.attachments(owner), named)
    except InputError as error:
        fault = error.faults[0]
        raise InputError.one(
            fault.problem, fault.remedy, column=option, value=named, where=HERE, code=fault.code
        ) from None


def _write_out(register: Register, owner: Owner, asked: argparse.Namespace) -> None:
    one = _which(register, owner, asked.write_out, "--write-out")
    write_whole(register.attachment(one), asked.out)
    say_done(f"wrote {visible(one.name, SHOWN)} to {asked.out}: {_kind(one.media)}, {_size(one.size)}")
    if one.media == "application/pdf":
        _warn()


def _list(register: Register, owner: Owner, asked: argparse.Namespace) -> None:
    attached = register.attachments(owner)
    if asked.format == "json":
        names = ("name", "media", "size", "sha256", "by", "reason")
        say(as_json([{**{name: getattr(one, name) for name in names}, "made_at": _when(one)} for one in attached]))
        return
    listed = [f"{visible(one.name, SHOWN)}  {_kind(one.media)}, {_size(one.size)}, {one.short}" for one in attached]
    say("\n".join(listed) or f"nothing is attached to {_unit(asked)}; attach a file with --file")


def history_lines(register: Register, contributor: str, unit: str) -> list[str]:
    """What was attached to a record and taken off again, a line each."""
    from calib.register.attachments import of_record

    lines = []
    for one in register.attachment_revisions(of_record(contributor, unit)).to_dict("records"):
        what = "attached" if one["action"] == "attach" else "taken off"
        told = f"{visible(one['name'], SHOWN)} ({_kind(one['media'])}, {_size(one['size'])}, {one['sha256'][:8]})"
        why = f": {visible(one['reason'])}" if one["reason"] else ""
        when = f"{one['made_at']:%Y-%m-%d %H:%M:%S}"
        lines.append(f"{what}  {when} UTC  {told}  by {visible(one['by'] or '(not told)')}{why}")
    return lines


def _when(one: Attachment) -> str:
    return one.made_at.isoformat(timespec="microseconds")


def _unit(asked: argparse.Namespace) -> str:
    return visible(f"{asked.unit} of {asked.contributor}", SHOWN)


def _kind(media: str) -> str:
    from calib.register.attachments import type_in_words

    return type_in_words(media)


def _size(count: int) -> str:
    from calib.register.attachments import length_in_words

    return length_in_words(count)


def _warn() -> None:
    from calib.register.attachments import FACTS

    note(str(FACTS["says"]["pdf"]))
