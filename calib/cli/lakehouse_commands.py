"""``calib set-up`` and ``carry``: a register that many machines write at once, made, and filled from a file or back."""

from __future__ import annotations

import argparse

from calib.cli.output import say_done


def run_set_up(asked: argparse.Namespace) -> None:
    """Make a register in a lakehouse, where there is none."""
    from calib.register.moving import set_up_lakehouse

    register = set_up_lakehouse(asked.address, asked.data_path, simulated=asked.simulated == "true")
    kind = "simulated" if register.is_simulated else "real"
    say_done(f"{register.path} is a register of {kind} records; known units: {len(register.known())}")


def run_carry(asked: argparse.Namespace) -> None:
    """Copy a whole register from a file into a lakehouse, or out of one."""
    from calib.register.moving import carry

    try:
        carried = carry(asked.source, asked.target)
    except KeyboardInterrupt:
        raise KeyboardInterrupt(f"{asked.target} may not hold all of it: run it again, which brings the rest") from None
    say_done(str(carried))
