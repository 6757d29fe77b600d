"""The buttons that print a unit's sheet: made when they are pressed, in either size of paper."""

from __future__ import annotations

import re
from collections.abc import Callable

import streamlit as st

import calib
from calib.app import context
from calib.estimate.old_winding import AsItWas
from calib.paper import Behind, of_answer
from calib.session.meters import Metered

PAPERS = {"a4": "A4", "letter": "US Letter"}


def buttons(key: str, tag: str, made: Callable[[str], bytes], label: str = "Print this unit's sheet") -> None:
    """A button for each paper; `made` gives the sheet on it, once one is pressed."""
    name = re.sub(r"[^A-Za-z0-9]+", "-", tag).strip("-")[:60] or "unit"
    with st.container(horizontal=True, gap="small", key=f"{key}_print"):
        for paper, called in PAPERS.items():

            def sheet(paper: str = paper) -> bytes:
                return made(paper)

            file = f"{name}-sheet-{paper}.pdf"
            st.download_button(
                f"{label} (PDF, {called})", sheet, file, "application/pdf", key=f"{key}_{paper}", on_click="ignore"
            )


def of_register(key: str, model: calib.Multiplier, tag: str, contributor: str) -> None:
    """The buttons for a known unit, or one on the bench, of the register that is open."""

    def made(paper: str) -> bytes:
        with context.register() as register:
            return calib.unit_sheet(register, tag, contributor, paper, model, context.LEVEL)

    buttons(key, tag, made)


def of_estimate(
    key: str,
    opened: context.Opened,
    model: calib.Multiplier,
    answered: tuple[calib.UnknownUnit, calib.UnitEstimate, Metered],
) -> None:
    """The buttons for an answer at hand, nothing of which is kept."""
    record, estimate, metered = answered
    behind = Behind.of(opened.place, opened.simulated, "typed", model)
    buttons(key, record.unit, lambda paper: of_answer(record, estimate, behind, metered).pdf(paper))


def of_plan(opened: context.Opened, model: calib.Multiplier, plan: calib.RewindPlan, was: AsItWas | None) -> None:
    """The buttons for the winding sheet of a plan."""
    behind = Behind.of(opened.place, opened.simulated, "typed", model)
    label = context.SAID["rewind"]["sheet"]
    buttons("rewind_sheet", "winding", lambda paper: calib.winding_sheet(plan, behind, was, paper), label)
