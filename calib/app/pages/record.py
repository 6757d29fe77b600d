"""One record's own page: what its readings come to, its place in the picture, its doubt, its steps and its history."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import charts, words
from calib.app import context, files, revising
from calib.app.answer import working_table
from calib.app.pages.multiplier_by_size import areas_of, classes_of
from calib.estimate.working import of_record
from calib.register.attachments import of_record as owner_of
from calib.register.frame import frame_of, record_of
from calib.register.revisions import RECORDS, changes
from calib.session.interpret import stops_on_the_bench

if TYPE_CHECKING:
    import pandas as pd

CHOSEN, SEEN, OPEN, TRIED = "record_chosen", "seen_record", "record_amend", "seen_amend_tried"
Tag = tuple[str, str]
DONE_AS = {"add": "added", "amend": "amended", "withdraw": "withdrawn", "restore": "restored", "keep": "kept as it is"}


def draw() -> None:
    """The choice of a record, and all that is known of it."""
    opened = context.opened_register()
    context.head("One record", opened)
    revising.done(opened.place)
    tag = _chosen(opened)
    if tag is None:
        st.info("Choose a record; a click on a row of the known units, or on a point of the picture, leads here too.")
        return
    history = _history(opened, tag)
    if history is None:
        return
    past, brought = history
    last = past.iloc[-1]
    record = record_of(calib.KnownUnit, {name: last[name] for name in RECORDS.cells if name in past})
    gone = last["action"] == RECORDS.gone
    st.header(words.plain(f"{record.unit} of {record.contributor}"), anchor=False)
    if gone:
        whose = f" by {last['by']}" if last["by"] else ""
        why = f": {last['reason']}" if last["reason"] else ""
        st.warning(words.plain(f"It was withdrawn{whose}{why}. It counts no longer; its history stays."))
    if against := context.drawn(record.values()):
        st.html(against)
    model = None if gone else context.model_of(opened)
    doubt = next((one for one in revising.review(model, opened) if one.tag == tag), None) if model else None
    if doubt is not None:
        st.subheader("In doubt", anchor=False)
        st.html(context.plain_lines(doubt.reasons))
    _readings(record, doubt)
    _steps(opened, record, past, doubt)
    if model is not None:
        _place(model, record)
        files.print_of_register("sheet", model, record.unit, record.contributor)
    _told(past, brought)
    st.subheader("Photographs and data sheets", anchor=False)
    files.attached(owner_of(*tag), opened.place)


def _chosen(opened: context.Opened) -> Tag | None:
    """The record that the address names, else the one looked at last in this register; another may be chosen."""
    address = st.query_params.get("contributor"), st.query_params.get("unit")
    seen = st.session_state.get(SEEN)
    tag: Tag | None = seen[1] if seen and seen[0] == opened.place else None
    if address[0] is not None and address[1] is not None:
        tag = address[0], address[1]
    listed = list(zip(opened.known["contributor"], opened.known["unit"], strict=True))
    if tag is not None and tag not in listed:
        listed.insert(0, tag)
    st.session_state[CHOSEN] = tag
    st.selectbox(
        "Record",
        listed,
        index=None,
        placeholder="choose",
        format_func=lambda one: f"{one[1]} of {one[0]}",
        key=CHOSEN,
        on_change=_choose,
    )
    if tag is not None:
        st.session_state[SEEN] = opened.place, tag
        if address != tag:
            st.query_params["contributor"], st.query_params["unit"] = tag
    return tag


def _choose() -> None:
    """Name the record chosen in the address, so that a reload or a bookmark shows it again."""
    tag = st.session_state.get(CHOSEN)
    st.session_state.pop(SEEN, None)
    for name, value in zip(("contributor", "unit"), tag or (None, None), strict=True):
        if value is None:
            st.query_params.pop(name, None)
        else:
            st.query_params[name] = value


def _history(opened: context.Opened, tag: Tag) -> tuple[pd.DataFrame, pd.DataFrame] | None:
    """Every revision, and what came with bundles; None where there never was such a record."""
    try:
        with context.register() as register:
            past = register.history(*tag)
            if len(past):
                return past, register.provenance(*tag)
            register.record(*tag)
    except calib.InputError as error:
        st.warning(words.plain(f"There is no such record in {opened.name}: {error}."))
    except calib.CannotError as error:
        st.error(words.plain(f"The record cannot be read: {error}."))
    return None


def _readings(record: calib.KnownUnit, doubt: calib.Doubt | None) -> None:
    """The readings, beside the corrected ones where it is in doubt, and what they come to."""
    st.subheader("Its readings", anchor=False)
    if doubt is not None and doubt.corrected is not None:
        st.html(revising.side_by_side(doubt))
    else:
        there = {name: value for name, value in record.values().items() if value not in (None, "", False)}
        rows = [(revising.LABELS[name], revising.shown(name, value)) for name, value in there.items()]
        st.html(context.table(("", "As it stands"), rows, numeric=(1,)))
    st.subheader("What they come to", anchor=False)
    st.html(working_table(of_record(frame_of(calib.KnownUnit, [record]))))


def _place(model: Any, record: calib.KnownUnit) -> None:
    """The picture of units of its supply, with this one ringed."""
    st.subheader("Its place in the picture", anchor=False)
    points = model.points(record.rectifier, record.filter)
    line = model.line(record.rectifier, record.filter, context.LEVEL, areas_of(points))
    classes = classes_of(model, record.rectifier, record.filter)
    mark = record.contributor, record.unit
    chart = charts.multiplier(line, points, classes, context.colours(), mark)
    mine = points[(points["contributor"] == mark[0]) & (points["unit"] == mark[1]) & points["own"]]
    context.picture(chart, "record_chart")
    if len(mine):
        one = mine.iloc[0]
        core = f" at {one['core_area_cm2']:.3g} cm² of core" if one["core_area_cm2"] > 0 else ", its core not known"
        said = f"This one is ringed: {one['multiplier']:.3g} mA per V/Ω{core}"
        st.write(words.plain(f"{said}; odds that it is sound: {words.odds(one['odds_sound'])}."))
    context.in_words(chart.description)


def _steps(opened: context.Opened, record: calib.KnownUnit, past: pd.DataFrame, doubt: calib.Doubt | None) -> None:
    """Amend, withdraw, keep, restore, go back: each with its reason."""
    tag, gone = (record.contributor, record.unit), past["action"].iloc[-1] == RECORDS.gone
    st.subheader("What is to be done with it", anchor=False)
    revising.who_and_why("Why (needed for each step)")
    with st.container(horizontal=True, gap="small", key="record_steps"):
        if gone:
            _button("Let it count again", "record_restore", tag, "counted again", _put_back(tag, None))
        else:
            if doubt is not None and doubt.corrected is not None:
                better = doubt.corrected
                _button("Amend it as corrected", "record_correct", tag, "amended", _amend(better, doubt.record))
            _button("Withdraw it", "record_withdraw", tag, "withdrawn", _withdraw(tag))
            if doubt is not None:
                _button("It is right, keep it", "record_keep", tag, "kept as it is", _keep(tag))
    earlier = [int(one) for one in past["revision"] if one != past["revision"].iloc[-1]]
    if earlier:
        with st.container(horizontal=True, vertical_alignment="bottom", gap="small", key="record_back"):
            number = st.selectbox("Go back to revision", earlier[::-1], key="record_revision")
            _button("Go back to it", "record_go_back", tag, f"as at revision {number}", _put_back(tag, number))
    revising.trouble()
    begun = st.session_state.get(revising.AMENDS)
    mine = begun is not None and begun[0] == opened.place and (begun[1].contributor, begun[1].unit) == tag
    if not gone and (mine or st.button("Amend it by hand", key=OPEN, on_click=_begin, args=(opened.place, record))):
        _form(opened, record)


def _button(label: str, key: str, tag: Tag, said: str, do: Callable[[calib.Register], Any]) -> None:
    st.button(label, key=key, on_click=_take, args=(tag, said, do))


def _take(tag: Tag, said: str, do: Callable[[calib.Register], Any]) -> None:
    """A step, once there is a reason for it."""
    if revising.why():
        revising.step(tag, said, do)
    else:
        st.session_state[revising.TROUBLE] = "Nothing was done: say why first, for its history."


def _amend(record: calib.KnownUnit, instead_of: calib.KnownUnit) -> Callable[[calib.Register], Any]:
    by, why = revising.who, revising.why
    return lambda register: register.amend(record, by(), why(), instead_of=instead_of)


def _withdraw(tag: Tag) -> Callable[[calib.Register], Any]:
    return lambda register: register.withdraw(*tag, revising.who(), revising.why())


def _keep(tag: Tag) -> Callable[[calib.Register], Any]:
    return lambda register: register.keep(*tag, revising.who(), revising.why())


def _put_back(tag: Tag, revision: int | None) -> Callable[[calib.Register], Any]:
    """Let it count again, or as it stood once, unless the bench says stop meanwhile."""

    def restore(register: calib.Register) -> None:
        if stop := stops_on_the_bench(register, [tag]).get(tag, ""):
            raise calib.InputError.one(
                f"its bench session says stop, feed nothing: {stop}",
                "clear it there with the reason first",
                column="unit",
                value=tag[1],
            )
        register.restore(*tag, revising.who(), revising.why(), revision=revision)

    return restore


def _begin(place: str, record: calib.KnownUnit) -> None:
    revising.begin(place, record)
    st.session_state[TRIED] = False


def _stop() -> None:
    st.session_state.pop(revising.AMENDS, None)
    context.forget("amend_")


def _form(opened: context.Opened, record: calib.KnownUnit) -> None:
    """The record in the form for a known unit; what is wrong stands beside its field."""
    _, begun, first = st.session_state[revising.AMENDS]
    read = revising.amended(revising.forms.entries("amend_"), begun, first, opened)
    renamed = read.record is not None and (read.record.contributor, read.record.unit) != (
        begun.contributor,
        begun.unit,
    )
    with st.container(border=True, key="amend_this_unit"):
        if begun != record:
            st.warning("Somebody revised the record since this form was filled. What you typed is kept, and not saved.")
            st.button(
                "Begin again from what stands now", key="record_again", on_click=_begin, args=(opened.place, record)
            )
        form = revising.form("amend_", read, opened, bool(st.session_state.get(TRIED)))
        if renamed:
            st.error("Unit and contributor are what a record is found by: another tag is another record. Add it there.")
        if read.record is not None:
            old, new = begun.values(), read.record.values()
            differs = [
                (revising.LABELS[name], revising.shown(name, old[name]), revising.shown(name, new[name]))
                for name in new
                if new[name] != old[name]
            ]
            if differs:
                st.html(context.table(("changes", "from", "to"), differs, numeric=(1, 2)))
        with st.container(horizontal=True, gap="small"):
            args = (read.record, begun, renamed)
            st.button("Save the amended record", key="record_save", type="primary", on_click=_save, args=args)
            st.button("Leave it as it is", key="record_stop", on_click=_stop)
        if st.session_state.get(TRIED) and form.faults:
            st.error(f"Not saved: {words.count(len(form.faults), 'thing')} to mend above.")


def _save(record: calib.KnownUnit | None, begun: calib.KnownUnit, renamed: bool) -> None:
    st.session_state[TRIED] = True
    if record is None or renamed:
        return
    if record == begun:
        st.session_state[revising.TROUBLE] = "Nothing was done: the record has these values already."
        return
    _take((begun.contributor, begun.unit), "amended", _amend(record, begun))
    if revising.TROUBLE not in st.session_state:
        _stop()
        st.session_state[TRIED] = False


def _told(past: pd.DataFrame, brought: pd.DataFrame) -> None:
    """Its history, the last first: who, when, why, what changed, and the bundle that it came with."""
    st.subheader("Its history", anchor=False)
    changed = changes(past)
    rows = []
    for one in past.iloc[::-1].to_dict("records"):
        number = int(one["revision"])
        what = [
            f"{revising.LABELS.get(name, name)}: {revising.shown(name, old)} → {revising.shown(name, new)}"
            for name, old, new in changed.loc[changed["revision"] == number, ["column", "before", "after"]].itertuples(
                index=False
            )
        ]
        came = brought[brought["first_revision"].le(number) & brought["last_revision"].ge(number)]
        what += [f"came with the bundle {bundle}" for bundle in came["bundle"]]
        what += ["for review"] if one["needs_review"] else []
        made = f"{one['made_at']:%Y-%m-%d %H:%M} UTC"
        rows.append((str(number), DONE_AS[one["action"]], made, one["by"] or "", one["reason"] or "", "; ".join(what)))
    st.html(context.table(("revision", "was", "when", "by", "why", "what changed"), rows, numeric=(0,)))


if __name__ == "__main__":
    draw()
