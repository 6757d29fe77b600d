"""The doubtful records, one at a time: the record, what would explain it, the record corrected, and three ways on."""

from __future__ import annotations

import streamlit as st

import calib
from calib import words
from calib.app import context, revising

CHOSEN = "seen_doubt"


def draw() -> None:
    """The choice of a record, and what can be done about it."""
    opened = context.opened_register()
    context.head("Doubtful records", opened)
    revising.done(opened.place)
    found = revising.review(context.model_of(opened), opened)
    if not found:
        st.info("No record is in doubt.")
        return
    by_name = {f"{one.record.unit} of {one.record.contributor}": one for one in found}
    if st.session_state.get(CHOSEN) not in by_name:
        st.session_state[CHOSEN] = next(iter(by_name))
    heading = f"{words.count(len(by_name), 'record')} to look at, the most doubtful first"
    doubt = by_name[st.selectbox(heading, list(by_name), key=CHOSEN)]
    st.html(context.plain_lines(doubt.reasons))
    st.html(revising.side_by_side(doubt))
    st.button("Look at its own page", key="doubt_record", on_click=context.to_record, args=doubt.tag)
    revising.who_and_why("Why (needed to keep it as it is)")
    amend, withdraw, keep = st.columns(3)
    amend.button(
        "Amend it as corrected",
        key="doubt_amend",
        disabled=doubt.corrected is None,
        on_click=_do,
        args=(doubt, "amend"),
    )
    withdraw.button("Withdraw it", key="doubt_withdraw", on_click=_do, args=(doubt, "withdraw"))
    keep.button("It is right, keep it", key="doubt_keep", on_click=_do, args=(doubt, "keep"))
    revising.trouble()


def _do(doubt: calib.Doubt, what: str) -> None:
    """One of the three steps."""
    by, why, tag = revising.who(), revising.why(), doubt.tag

    def amend(register: calib.Register) -> None:
        if doubt.corrected is not None:
            register.amend(doubt.corrected, by, why or doubt.likely_slip, instead_of=doubt.record)

    steps = {
        "amend": ("amended", amend),
        "withdraw": ("withdrawn", lambda register: register.withdraw(*tag, by, why)),
        "keep": ("kept as it is", lambda register: register.keep(*tag, by, why)),
    }
    revising.step(tag, *steps[what])


if __name__ == "__main__":
    draw()
