"""``calib attach``: a photograph or a PDF attached to a known unit's record, listed, written out or taken off."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from calib.cli.options import HERE, all_of, existing_register
from calib.cli.output import as_json, check_target, note, say, say_done, write_whole
from calib.errors import SHOWN, InputError, visible

if TYPE_CHECKING:
    from calib.register.attachments import Attachment, Owner
    from calib.register.register import Register

ACTS = {"--file": "file", "--write-out": "write_out", "--take-off": "take_off"}


def run(asked: argparse.Namespace) -> None:
    """Attach a file, or list, write out or take off what is attached."""
    from calib.register.attachments import of_record
    from calib.register.evidence_file import read_evidence
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
    from calib.register.evidence_file import type_in_words

    return type_in_words(media)


def _size(count: int) -> str:
    from calib.register.evidence_file import length_in_words

    return length_in_words(count)


def _warn() -> None:
    from calib.register.evidence_file import FACTS

    note(str(FACTS["says"]["pdf"]))
