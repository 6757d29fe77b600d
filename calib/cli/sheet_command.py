"""``calib sheet``: a unit's sheet to print."""

from __future__ import annotations

import argparse

from calib.cli.fit_commands import with_published
from calib.cli.options import all_of, existing_register, level_of
from calib.cli.output import SIMULATED, check_target, note, say_done, write_whole
from calib.errors import visible


def run(asked: argparse.Namespace) -> None:
    """Print the sheet of a known unit, or of one on the bench, into a file."""
    from calib.register.register import Register

    level, path, _ = all_of(
        lambda: level_of(asked.level),
        lambda: existing_register(asked.register),
        lambda: check_target(asked.out, asked.register),
    )
    from calib.fitting.result import fit
    from calib.paper import unit_sheet

    with Register(path, create=False) as register:
        known = register.known()
        asked.known = None
        model = fit(known, published=with_published(asked, known) and not register.is_simulated)
        made = unit_sheet(register, asked.unit, asked.contributor, asked.paper, model, level)
        if register.is_simulated:
            note(SIMULATED)
    write_whole(made, asked.out)
    say_done(f"{visible(asked.out)}: the sheet of {visible(asked.unit)}, one page")
