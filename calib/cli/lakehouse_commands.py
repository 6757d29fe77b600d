"""``calib set-up``, ``member`` and ``carry``: a register that many write at once, who may write it, and its content."""

from __future__ import annotations

import argparse

from calib.cli.terminal import HERE, say, say_done
from calib.errors import InputError


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
