"""The page as a whole: its navigation, its dress, and the choice of the register."""

from __future__ import annotations

import threading
from importlib import import_module
from pathlib import Path

import streamlit as st
from streamlit import config

import calib
from calib import words
from calib.app import context, revising, session_state, sign_in
from calib.app.page_server import SERVED

HERE = Path(__file__).resolve().parent


def run() -> None:
    """Draw the page that is asked for."""
    st.set_page_config(page_title="calib", page_icon=str(HERE / "page_icon.png"), layout="wide")
    if not (SERVED.is_set() or config.get_option("global.appTest")):
        st.error(context.SAID["served_otherwise"])
        st.stop()
    session_state.gather()
    _warm()
    st.html(f"<style>{(HERE / 'page.css').read_text(encoding='utf-8')}{_colours()}</style>")
    sign_in.ask()
    context.follow_the_address()
    page = st.navigation({title: [_page(*one) for one in pages] for title, pages in context.SAID["pages"].items()})
    context.keep_what_was_typed(page.title)
    if (tag := st.session_state.pop(context.GO_TO, None)) is not None:
        st.switch_page(HERE / "pages" / "record.py", query_params=dict(zip(("contributor", "unit"), tag, strict=True)))
    context.choose_register()
    in_doubt = st.sidebar.container()
    context.make_room()
    with calib.patience():  # for all that the page asks of the register together
        page.run()
        with in_doubt:
            _in_doubt()


def _in_doubt() -> None:
    """How many records are in doubt, by the last fit: none is made for it."""
    model, opened = st.session_state.get(context.FIT_AT_HAND, (None, None))
    try:
        if model is None or opened.content != context.as_it_stands().content:
            return
        count = revising.number_in_doubt(model, opened)
    except calib.CannotError:  # the page itself says so
        return
    if count:
        st.page_link(HERE / "pages" / "doubtful_records.py", label=f"{words.count(count, 'doubtful record')}: look")


def _page(name: str, title: str) -> st.Page:
    home = name == "what_can_it_give"
    return st.Page(HERE / "pages" / f"{name}.py", title=title, url_path=name.replace("_", "-"), default=home)


def _colours() -> str:
    """The palette as variables of the style sheet."""
    chosen = context.colours()
    names = ("ground", "ink", "soft_ink", "rule", "accent", "warning", "practice", "practice_ground", "field")
    return ":root{" + "".join(f"--calib-{name.replace('_', '-')}:{getattr(chosen, name)};" for name in names) + "}"


@st.cache_resource(show_spinner=False)
def _warm() -> bool:
    """Import what the first fit needs while the page is being drawn."""
    threading.Thread(target=import_module, args=("statsmodels.regression.linear_model",), daemon=True).start()
    return True
