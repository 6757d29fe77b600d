"""What a fit answers: ``calib fit``, ``estimate``, ``review``, ``rewind`` and ``sheet``."""

from __future__ import annotations

import argparse
from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

from calib.cli.terminal import (
    HERE,
    MOST_NOTED,
    SIMULATED,
    all_of,
    as_csv,
    as_json,
    check_target,
    decimal_of,
    existing_register,
    level_of,
    note,
    number_of,
    plain,
    register_path,
    rows_of,
    say,
    say_done,
    write_whole,
)
from calib.errors import Fault, InputError, visible

if TYPE_CHECKING:
    import pandas as pd

    from calib.estimate.old_winding import NewWinding, OldWinding
    from calib.estimate.rewind import RewindTarget
    from calib.fitting.result import Multiplier
    from calib.review import Doubt


def run_fit(asked: argparse.Namespace) -> None:
    """Fit the known units and print what they teach."""
    level, known = all_of(lambda: level_of(asked.level), lambda: known_units(asked))
    from calib.fitting.result import fit

    model = fit(known, published=with_published(asked, known))
    if asked.format == "json":
        content = fit_content(model, level)
        say(as_json(content | {"diagnostics": diagnostics(model)} if asked.diagnostics else content))
    else:
        say(str(replace(model, level=level)) + (f"\n\n{model.regression}" if asked.diagnostics else ""))


def fit_content(model: Multiplier, level: float) -> dict[str, Any]:
    """A fit as ``calib fit --format json`` prints it.

    Parameters
    ----------
    model : calib.Multiplier
    level : float
        Probability of the intervals, above 0 and below 1 [1].

    Returns
    -------
    dict
        Plain values only; None for blank and for an open limit.
    """
    check = model.check(level)
    return {
        "records": plain(model.records),
        "published": plain(model.published),
        "level": level,
        "scatter": plain(model.scatter),
        "simulated": bool(model.simulated),
        "converged": model.converged,
        "iterations": [asdict(one) for one in model.iterations],
        "content_hash": model.content_hash,
        "classes": rows_of(model.classes(level).drop(columns="level")),
        "terms": rows_of(model.terms(level).drop(columns="level")),
        "suspects": rows_of(model.suspects()),
        "conflicts": rows_of(model.conflicts()),
        "check": {name: plain(getattr(check, name)) for name in ("folds", "coverage", "level")},
    }


def diagnostics(model: Multiplier) -> dict[str, Any]:
    """What ``--diagnostics`` adds: the regression given the scales at the mode, and how each record bears on it."""
    found = model.regression
    named = zip(model.design.names, found.params, found.bse, strict=True)
    return {
        "given": "scales at the mode",
        "coefficients": [{"name": name, "value": plain(value), "sd": plain(sd)} for name, value, sd in named],
        "records": rows_of(found.influence()),
    }


def run_estimate(asked: argparse.Namespace) -> None:
    """Estimate every unknown unit and print or write the table."""
    from calib.register.tables import read_unknown

    level, known, unknown, _ = all_of(
        lambda: level_of(asked.level),
        lambda: known_units(asked),
        lambda: with_notes(read_unknown(asked.unknown, decimal=decimal_of(asked))),
        lambda: check_target(asked.out, asked.unknown, asked.known, source_register(asked)),
    )
    from calib.fitting.mixture import unsettled
    from calib.fitting.result import fit

    model = fit(known, published=with_published(asked, known))
    estimates = model.estimate(unknown, level=level, as_read=asked.as_read)
    text = as_json(rows_of(estimates)) if asked.format == "json" else as_csv(estimates)
    if model.simulated:
        note(SIMULATED)
    if not model.converged:
        note(f"the fit did not come to rest, so these figures may still move: {'; '.join(unsettled(model.iterations))}")
    for row in estimates[estimates["flags"].str.split(";").map(lambda flags: "stop" in flags)].to_dict("records"):
        note(f"STOP, feed {row['unit']} nothing: {row['stop']}")
    for line in unknown.attrs.get("improbable", ()):
        note(line)
    for row in estimates[estimates["rated_current_ma"].isna()].head(MOST_NOTED).to_dict("records"):
        slip = f"; the likeliest slip: {row['likely_slip']}" if row["likely_slip"] else ""
        note(f"{asked.unknown}, {row['unit']}: no current is told, its readings do not go together{slip}")
    if asked.out is not None:
        try:
            write_whole(text, asked.out)
        except KeyboardInterrupt:
            raise KeyboardInterrupt(f"{asked.out} is whole, as it was before or written anew") from None
    else:
        say(text)


def run_review(asked: argparse.Namespace) -> None:
    """Say which records somebody should look at, and why."""
    from calib.register.register import Register
    from calib.review import review_register

    with Register(existing_register(asked.register), create=False) as register:
        found = review_register(register, None if asked.published is None else asked.published == "yes")
    text = "\n".join(visible(line) for line in str(found).splitlines())
    say(as_json([_doubt(one) for one in found]) if asked.format == "json" else text)


def _doubt(one: Doubt) -> dict[str, Any]:
    return {
        **dict(zip(("contributor", "unit"), one.tag, strict=True)),
        "kinds": list(one.kinds),
        "reasons": list(one.reasons),
        "odds_sound": plain(one.odds_sound),
        "likely_slip": plain(one.likely_slip),
        "corrected": {name: plain(new) for name, (_, new) in one.changed.items()} or None,
        "same_as": [dict(zip(("contributor", "unit"), other, strict=True)) for other in one.same_as],
    }


def with_published(asked: argparse.Namespace, known: pd.DataFrame) -> bool:
    """Whether the published windings count; where nobody said, beside a register of real units, not beside a file."""
    if asked.published == "yes":
        from calib.fitting.result import refuse_mixed

        refuse_mixed(known, "--published", asked.published, HERE)
    if asked.published is not None:
        return bool(asked.published == "yes")
    return asked.known is None and not known["simulated"].fillna(False).astype(bool).any()


def known_units(asked: argparse.Namespace) -> pd.DataFrame:
    """The known units that a command is to learn from.

    A register that does not exist yet has no records, which is a valid thing to learn from; looking does not create it.

    Returns
    -------
    pandas.DataFrame
        As `calib.read_known` gives it.
    """
    if asked.known is not None:
        from calib.register.tables import read_known

        return with_notes(read_known(asked.known, decimal=decimal_of(asked)))
    path = register_path(asked.register)
    if not path.exists():
        from calib.register.frame import frame_of
        from calib.register.records import KnownUnit

        beside = "the prior alone" if asked.published == "no" else "the published windings and the prior"
        note(f"there is no register at {path} yet: what follows stands on {beside}")
        return frame_of(KnownUnit, ())
    from calib.register.register import Register

    with Register(path) as register:
        return register.known()


def source_register(asked: argparse.Namespace) -> str | None:
    """The register that a command reads, by whatever way it was named; None where it reads a table instead."""
    return None if asked.known is not None else str(register_path(asked.register))


def with_notes(table: pd.DataFrame) -> pd.DataFrame:
    """The table, once what its reading noted has been told."""
    for text in (*table.attrs.get("understood", ()), *table.attrs.get("notes", ())):
        note(text)
    return table


REWIND_COMMAND = "calib rewind"
CORE = ("tongue_mm", "stack_mm", "window_width_mm", "window_height_mm")
NUMBERS = (*CORE, "volts", "current_ma", "line_voltage_v", "line_frequency_hz", "flux_t")


def run_rewind(asked: argparse.Namespace) -> None:
    """Plan the windings and print the plan, beside it the old winding where something of it was found."""
    known, (target, old, new) = all_of(lambda: known_units(asked), lambda: asked_for(asked))
    from calib.estimate.old_winding import as_it_was, as_wound
    from calib.estimate.rewind import REWIND, rewind_plan
    from calib.fitting.result import fit
    from calib.register.fields import unlikely_of

    model = fit(known, published=with_published(asked, known))
    try:
        plan = rewind_plan(model, target)
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None
    if model.simulated:
        note(SIMULATED)
    for said in unlikely_of(REWIND, vars(target) | vars(old) | ({} if new is None else vars(new))):
        note(said)
    was, wound = as_it_was(plan, old), None if new is None else as_wound(plan, new)
    if asked.format == "json":
        told = {name: plain(value) for name, value in plan.as_dict().items()}
        beside = {"as_it_was": was, "as_wound": wound}
        say(as_json(told | {name: None if one is None else one.as_dict() for name, one in beside.items()}))
    else:
        say("\n".join(str(one) for one in (plan, was, wound) if one is not None))


def asked_for(asked: argparse.Namespace) -> tuple[RewindTarget, OldWinding, NewWinding | None]:
    """Core, wanted figures, what was found of the old winding and what the new one reads as, as typed.

    Raises
    ------
    InputError
        With every fault.
    """
    from calib.estimate.old_winding import OLD, READ, NewWinding, OldWinding
    from calib.estimate.rewind import REWIND, Heater, RewindTarget
    from calib.register.fields import faults_of

    numbers: dict[str, Any] = {}
    faults: list[Fault] = []
    heaters = []
    for name in (*NUMBERS, *OLD, *READ):
        typed = getattr(asked, name)
        try:
            numbers |= {} if typed is None else {name: number_of(name, typed, REWIND_COMMAND)}
        except InputError as error:
            faults += error.faults
    for text in asked.heater:
        try:
            heaters.append(Heater.of(text))
        except InputError as error:
            faults += [replace(fault, where=REWIND_COMMAND) for fault in error.faults]
    if faults:
        raise InputError(faults + [_placed(fault, asked) for fault in faults_of(REWIND, numbers)])
    was = {name: numbers.pop(name) for name in OLD if name in numbers}
    read: dict[str, Any] = {name: numbers.pop(name, None) for name in READ}
    supply = {"rectifier": asked.rectifier, "filter": asked.filter, "series": asked.wire, "conductor": asked.conductor}
    try:
        target, old, new = all_of(
            lambda: RewindTarget(heaters=tuple(heaters), **supply, **numbers),
            lambda: OldWinding(**was, was_conductor=asked.was_conductor),
            lambda: NewWinding(**read) if any(value is not None for value in read.values()) else None,
        )
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None
    return target, old, new


def _placed(fault: Fault, asked: argparse.Namespace) -> Fault:
    """A fault of this command, its value as it was typed."""
    return replace(fault, where=REWIND_COMMAND, value=str(getattr(asked, fault.column, None) or fault.value))


def run_sheet(asked: argparse.Namespace) -> None:
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
