"""Keep an answer of a page with its unit on the bench: an estimate, a set's demand, a heat run, one button each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context
from calib.paths import data
from calib.register.frame import record_of
from calib.session import kept_demand, kept_estimate, kept_heat_run

if TYPE_CHECKING:
    import pandas as pd

SAYS = data("app/bench_unit.toml")["keep"]
DONE = "kept_on_bench"  # what was kept last, and what is said of it
PAGE = Path(__file__).parent / "pages" / "what_is_on_the_bench.py"


def estimate(opened: context.Opened, model: Any, record: calib.UnknownUnit, answer: calib.UnitEstimate) -> None:
    """Offer to keep what a unit can give.

    Parameters
    ----------
    opened : context.Opened
        The register that is open.
    model : calib.Multiplier
        The fit that the answer is by.
    record : calib.UnknownUnit
        The unit.
    answer : calib.UnitEstimate
        What it can give.
    """
    row = answer.answer.iloc[0].to_dict()
    made = kept_estimate(model, row, (record.rectifier, record.filter), answer.level)
    _offer(opened, "estimate", record, calib.BenchEntry(readings=record, estimate=made))


def demand(
    opened: context.Opened, model: Any, unit: pd.DataFrame, found: calib.Demand, asked: tuple[Any, calib.SetSupply]
) -> None:
    """Offer to keep whether a unit feeds a set; `asked` is the line-up and the supply of the set."""
    record = _record(unit)
    made = kept_demand(model, found, *asked)
    _offer(opened, "demand", record, calib.BenchEntry(readings=record, demand=made))


def heat_run(opened: context.Opened, unit: pd.DataFrame, found: calib.HeatRunResult) -> None:
    """Offer to keep what a heat run proved."""
    record = _record(unit)
    _offer(opened, "heat_run", record, calib.BenchEntry(readings=record, heat_run=kept_heat_run(found)))


def _record(unit: pd.DataFrame) -> calib.UnknownUnit:
    return record_of(calib.UnknownUnit, {str(name): value for name, value in unit.iloc[0].items()})


def _offer(opened: context.Opened, what: str, record: calib.UnknownUnit, entry: calib.BenchEntry) -> None:
    """The button, and what is on the bench of this unit already; where it has no tag, where to give it one."""
    tag = str(st.session_state.get("read_tag") or "").strip()
    contributor, session_id = _whose(opened, tag, record)
    with st.container(border=True, key=f"keep_{what}"):
        st.write(SAYS["offer"][what])
        if not tag:
            st.write(SAYS["no_tag"])
            return
        there = next((one for one, _ in opened.bench if (one.tag, one.contributor) == (tag, contributor)), None)
        if there is not None and _same(there, what, entry):
            kept = SAYS["there"].format(tag=tag, at=f"{there.kept_at:%Y-%m-%d %H:%M}")
            st.success(words.plain(kept))
        else:
            entry = calib.BenchEntry(session_id, entry.readings, entry.estimate, entry.demand, entry.heat_run)
            label = words.plain(SAYS["button"].format(tag=tag))
            st.button(label, key=f"keep_on_bench_{what}", on_click=_keep, args=(tag, contributor, entry, what))
        if wrong := st.session_state.pop(f"{DONE}_{what}", ""):
            st.error(words.plain(wrong))
        st.page_link(PAGE, label=SAYS["to_bench"])


def _same(there: calib.KeptUnit, what: str, entry: calib.BenchEntry) -> bool:
    """Whether the bench has this answer with these readings."""
    own = {"unit": there.tag, "contributor": there.contributor}
    if entry.readings is None or there.readings != calib.UnknownUnit.parse({**entry.readings.entered(), **own}):
        return False
    new, old = getattr(entry, what), getattr(there, what)
    return bool(old is not None and new.model_copy(update={"made_at": old.made_at}) == old)


def _whose(opened: context.Opened, tag: str, record: calib.UnknownUnit) -> tuple[str, str]:
    """Whose bench it is, and the session that filled the form, where it is the unit's: a bench without known units has
    no name in the form.
    """
    filled = st.session_state.get(context.FILLED) or {}
    rows = opened.sessions[opened.sessions["session_id"].eq(filled.get("session") or "")].to_dict("records")
    mine = next((row for row in rows if row["tag"] == tag), None)
    if mine is None:
        return str(record.contributor or filled.get("contributor") or ""), ""
    return str(record.contributor or mine["contributor"]), str(mine["session_id"])


def _keep(tag: str, contributor: str, entry: calib.BenchEntry, what: str) -> None:
    try:
        with context.register() as register:
            register.keep_on_bench(tag, entry, contributor=contributor, by=contributor, reason=SAYS["why"][what])
    except (calib.InputError, calib.CannotError) as error:
        st.session_state[f"{DONE}_{what}"] = f"Not kept: {error}."
