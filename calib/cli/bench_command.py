"""``calib bench``: the units on a register's bench, each with its state and what is next for it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from calib.cli.options import existing_register
from calib.cli.output import as_json, plain, say
from calib.errors import visible

if TYPE_CHECKING:
    from calib.session import BenchUnit


def run(asked: argparse.Namespace) -> None:
    """Say what is on the bench."""
    from calib.register.register import Register
    from calib.session.on_the_bench import on_the_bench

    with Register(existing_register(asked.register), create=False) as register:
        found = on_the_bench(register)
    told = [_keys(one) for one in found]
    text = "\n".join(visible(line) for line in str(found).splitlines())
    say(as_json(told) if asked.format == "json" else text)


def _keys(one: BenchUnit) -> dict[str, Any]:
    """A unit as the JSON tells it: what stands against it too, null where nothing does."""
    told: dict[str, Any] = {"unit": one.unit, "state": one.state, "changed_on": one.changed_on.isoformat()}
    names = ["next", "stop", "stop_cleared", "doubts", "contributor", "rectifier", "filter", "conductor", "level"]
    names += ["rated_current_ma", "low_ma", "high_ma", "moved", "odds_worst", "proven_ma", "trouble"]
    return told | {name: plain(getattr(one, name)) for name in names}
