"""What every page shares: which register is open, the model fitted to it, and how errors and cautions are shown."""

from __future__ import annotations

import hashlib
import html
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import bench, words
from calib.app import sign_in
from calib.charts.style import CLICKED, Palette, palette
from calib.paths import data
from calib.register.lakehouse import Lakehouse, place_of
from calib.register.records import standing
from calib.session.meters import meters_of

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd
    from streamlit.delta_generator import DeltaGenerator

    from calib.session.meters import Metered

Mark = tuple[int, ...]
Place = Path | Lakehouse
LEVEL = 0.9
OWN, PRACTICE = "My own", "Practice (simulated)"
PUBLISHED = "use_published"  # key of the switch for published windings
CHOICE = "register_choice"
WRITTEN, STRANGE = "register_in_address", "register_not_known"
IN_ADDRESS = {"own": OWN, "practice": PRACTICE}
_HAD: dict[tuple[bool, Place], Place] = {}  # files of the registers that this server has had open
_READ: dict[Place, tuple[Mark, Opened]] = {}  # what they held when they were last read
LEFT_OPEN = 4  # registers whose content is remembered
CLOCK_NS, COARSE_CLOCK_NS = 50_000_000, 3_000_000_000  # a file written so lately may change and look the same [ns]
WAITS = "seen_waits"
NOTICES = "notices_of_the_register"
SAID = data("app/pages.toml")
DISCLAIMER = SAID["disclaimer"]
PLATE = '<span class="calib-plate" aria-hidden="true">STOP</span>'
PART_SHOWN = 0.01  # a part below this share of the variance is left out of the account
FILLED = "seen_filled_from"  # what the estimate's form was filled from, until it is cleared
LEFT_ANSWERED = 32  # estimates and pictures that are remembered
# What is told apart by being another object; each value that is remembered by it holds it, so that it stays the same.
BY_IDENTITY: dict[str | type, Callable[[Any], Any]] = {
    "calib.fitting.result.Multiplier": id,
    "calib.estimate.unit.UnitEstimate": id,
}
FIT_AT_HAND = "fit_at_hand"  # the last fit of this visit, with what it was made of
GO_TO = "go_to_record"  # the record whose own page is asked for
KEPT = (
    "read_",
    "set_",
    "heat_",
    "wind_",
    "add_",
    "amend_",
    "meter_",
    "seen_find",
    "seen_evidence",
    "seen_supply",
    "seen_rectifier",
    "seen_filter",
)


@dataclass(frozen=True)
class Opened:
    """The register that is open, as it stood when the page was drawn.

    Attributes
    ----------
    known : pandas.DataFrame
        Its known units, as `calib.read_known` gives them.
    content : str
        Hash of those units: what the fit is remembered by.
    simulated : bool
        Whether it holds simulated units.
    place : str
        Its file, or the address of one that many share, without a password: to be shown, and to tell one from another.
    meters : tuple of calib.Meter
        The user's own meters.
    sessions : pandas.DataFrame
        Its bench sessions, the one kept last first.
    bench : tuple of (calib.KeptUnit, str)
        The units on its bench, the one kept last first, each with what is wrong with it.
    """

    known: pd.DataFrame
    content: str
    simulated: bool
    place: str
    meters: tuple[calib.Meter, ...]
    sessions: pd.DataFrame
    bench: tuple[tuple[calib.KeptUnit, str], ...] = ()

    @property
    def name(self) -> str:
        """What the pages call it."""
        return "the practice register" if self.simulated else "your register"

    @property
    def is_file(self) -> bool:
        """Whether it is a file, and not one that many share."""
        return isinstance(place_of(self.place), Path)

    @property
    def called(self) -> str:
        """The name of its file, or of its database."""
        return place_of(self.place).name


def practising() -> bool:
    """Whether the practice register is chosen; the environment variable CALIB_PRACTICE says where a visit starts."""
    start = PRACTICE if os.environ.get("CALIB_PRACTICE") == "1" else OWN
    chosen = st.session_state.setdefault(CHOICE, start) == PRACTICE
    return bool(chosen and not sign_in.ASKED.is_set())  # the practice register knows no roles


def follow_the_address() -> None:
    """Open the register that the address names, and name the open one there, so that a reload opens it again.

    An address that changed since it was last written (a reload, a bookmark, the browser's way back) says which register
    is wanted; else the choice on the page does. Only the two choices have a name in an address, no file has.
    """
    state = st.session_state
    practising()
    wanted = st.query_params.get_all("register")
    if wanted and wanted != [state.get(WRITTEN)]:
        chosen = IN_ADDRESS.get(wanted[0]) if len(wanted) == 1 else None
        state[STRANGE] = None if chosen else ", ".join(wanted)
        state[CHOICE] = chosen or state[CHOICE]
    state[WRITTEN] = "practice" if practising() else "own"
    if wanted != [state[WRITTEN]]:
        st.query_params["register"] = state[WRITTEN]


def choose_register() -> None:
    """The choice of the register, and what is said of an address that named none of the two."""
    with st.sidebar:
        if not sign_in.ASKED.is_set():
            st.radio(
                "Register open",
                [OWN, PRACTICE],
                key=CHOICE,
                help=SAID["two_registers"],
                on_change=lambda: st.session_state.pop(STRANGE, None),
            )
        if not practising():
            st.session_state.setdefault(PUBLISHED, True)
            st.toggle("Learn from published windings too", key=PUBLISHED, help=SAID["published"])
    strange = st.session_state.get(STRANGE)
    if strange is not None:
        shown = strange if len(strange) <= 40 else f"{strange[:40]}…"
        name = "the practice register" if practising() else "your own register"
        st.warning(
            words.plain(f"The address asks for the register '{shown}', which is not among ours: {name} is open.")
        )


@contextmanager
def register() -> Iterator[calib.Register]:
    """The chosen register, open for as long as the block lasts.

    Raises
    ------
    calib.RegisterError
        It cannot be opened; or it was open on this page before and is gone, in the place of which none is made.
    """
    practice, own = practising(), sign_in.place()
    before = _HAD.get((practice, own))
    if before is not None and not before.exists():
        remedy = "put it back or connect its drive and try again; to begin a new one, stop calib page and start it anew"
        raise calib.RegisterError(f"{before}: it was open here and is gone; {remedy}")
    with (
        calib.patience(tell=keep_notice, waits=waiting()),
        calib.practice_register() if practice else calib.Register(own, create=before is None) as opened,
    ):
        _HAD[practice, own] = opened.path
        yield opened


def opened_register() -> Opened:
    """Read the chosen register, or say in one line why it cannot be read and stop the page there."""
    try:
        return as_it_stands()
    except calib.CannotError as error:
        st.error(words.plain(f"The register cannot be opened: {error}."))
        st.button("Try again", key="try_again")
        st.stop()


def as_it_stands() -> Opened:
    """The chosen register's content; its file is opened only where something changed since it was last read.

    Raises
    ------
    calib.RegisterError
        As :func:`register` does.
    """
    there = _HAD.get((practising(), sign_in.place()))
    before = _READ.get(there) if there else None
    if there and before and before[0] == _mark(there):
        return before[1]
    with register() as source:
        mark = _mark(source.path)
        known, meters, sessions, bench_units = source.contents()
        simulated, place = bool(source.is_simulated), str(source.path)
        found = Opened(known, content_of(known), simulated, place, meters_of(meters), sessions, bench_units)
        _READ.pop(source.path, None)
        if mark:
            _READ[source.path] = mark, found
        while len(_READ) > LEFT_OPEN:
            _READ.pop(next(iter(_READ)), None)
    return found


def _mark(path: Place) -> Mark:
    """What tells one state of a register's file from the next, its log's with it; () where the next may look alike.

    The file is not opened for it: to close it would let go of the lock that the database holds for another thread of
    this program. A clock of whole seconds, as some removable disks have, tells nothing of a file written a moment ago;
    a folder of another machine may tell of a change there some seconds late. A lakehouse numbers its states.
    """
    if isinstance(path, Lakehouse):
        return path.mark()
    found: list[int] = []
    for name in (path, Path(f"{path}.wal")):
        try:
            told = name.stat()
        except FileNotFoundError:
            continue
        except OSError:
            return ()
        coarse = told.st_mtime_ns % 1_000_000_000 == 0
        if time.time_ns() - told.st_mtime_ns < (COARSE_CLOCK_NS if coarse else CLOCK_NS):
            return ()
        found += [told.st_dev, told.st_ino, told.st_size, told.st_mtime_ns, told.st_ctime_ns]
    return tuple(found)


def keep_notice(text: str) -> None:
    """Keep something worth knowing of the register's file until its reader puts it away."""
    notices = st.session_state.setdefault(NOTICES, [])
    if text not in notices:
        notices.append(text)


def make_room() -> None:
    """Make the place where the page says for whom it waits. It always stands there: what comes in above a form now and
    then would shift it, fold up again what was folded out, and let a click go nowhere.
    """
    st.session_state[WAITS] = st.container()


def waiting() -> Callable[[str], None]:
    """What says on the page, while it waits, for whom; and takes that off again when it is over."""
    places: list[DeltaGenerator] = []

    def say(text: str) -> None:
        if text:
            places.append(st.session_state.get(WAITS, st).empty())
            places[-1].info(words.plain(words.sentence(text)))
        elif places:
            places.pop().empty()

    return say


def _show_notices() -> None:
    if notices := st.session_state.get(NOTICES):
        for text in notices:
            st.info(words.plain(words.sentence(text)))
        st.button("Put away", key="notices_seen", on_click=notices.clear)


def content_of(known: pd.DataFrame) -> str:
    """A name for the content of a table, the same for the same rows in the same order."""
    import pandas as pd

    rows = pd.util.hash_pandas_object(known, index=False).to_numpy().tobytes()
    return hashlib.sha256(rows + ",".join(known.columns).encode()).hexdigest()


@st.cache_resource(max_entries=4, show_spinner="Fitting the known units …")
def _fitted(content: str, published: bool, _known: pd.DataFrame) -> Any:
    return calib.fit(_known, published=published)


def model_of(opened: Opened) -> Any:
    """The fit of a register's known units, remembered until they change; published windings as the sidebar says."""
    published = not opened.simulated and bool(st.session_state.get(PUBLISHED, True))
    try:
        model = _fitted(opened.content, published, opened.known)
    except calib.CannotError as error:
        st.error(words.plain(f"No fit could be made: {error}."))
        st.stop()
    st.session_state[FIT_AT_HAND] = model, opened
    return model


def to_record(contributor: str, unit: str) -> None:
    """Ask for a record's own page; the run that follows leads there."""
    st.session_state[GO_TO] = (contributor, unit)


def to_clicked(key: str, own: pd.DataFrame) -> None:
    """Lead to the known unit, of those in a table, that was clicked on in a picture; what else is drawn has no page."""
    tags = set(zip(own["contributor"], own["unit"], strict=True))
    for one in st.session_state[key].selection.get(CLICKED, ()):
        if (tag := (str(one.get("contributor")), str(one.get("unit")))) in tags:
            to_record(*tag)


@st.cache_resource(max_entries=LEFT_ANSWERED, show_spinner=False, hash_funcs=BY_IDENTITY)
def _estimated(model: Any, asked: str, _record: Any, _heaters: Any) -> tuple[Any, Any]:
    return model, calib.estimate_unit(model, _record, LEVEL, _heaters)


def estimate_of(model: Any, record: calib.UnknownUnit, heaters: Sequence[calib.HeaterReading] | None) -> Any:
    """A unit's estimate by a fit, remembered for as long as the entries give the same record.

    Raises
    ------
    calib.CannotError
        As :func:`calib.estimate_unit` does.
    """
    return _estimated(model, repr((list(record), heaters)), record, heaters)[1]


def colours() -> Palette:
    """The colours for the ground that the reader's browser shows."""
    theme = getattr(st.context, "theme", None)
    return palette(getattr(theme, "type", None) == "dark")


def keep_what_was_typed(page: str) -> None:
    """Put back the entries of fields that were not shown for a while, which the server forgets.

    A field that is shown is left alone: to set it would undo what its user is typing at that moment. Where another page
    was begun since, be it for a moment only, nobody can have emptied a field of this one: blank ones were forgotten. So
    were they where several are blank at once, or one is while another changed: a person empties one at a time.
    """
    state = st.session_state
    kept = state.setdefault("kept", {})
    turned = state.get("page_begun") != page
    state["page_begun"] = page
    now = {key: state[key] for key in list(state) if str(key).startswith(KEPT)}
    blank = {key for key, value in now.items() if value in (None, "") and kept.get(key) not in (None, "")}
    changed = any(key in kept and value != kept[key] for key, value in now.items() if key not in blank)
    forgotten = blank if turned or len(blank) > 1 or (blank and changed) else set()
    kept.update({key: value for key, value in now.items() if key not in forgotten})
    for key, value in kept.items():
        if turned or key in forgotten:
            state[key] = value
        else:
            state.setdefault(key, value)


def forget(*starts: str) -> None:
    """Let go of the entries whose keys begin so."""
    kept = st.session_state.setdefault("kept", {})
    for key in [key for key in {*kept, *st.session_state} if str(key).startswith(starts)]:
        kept.pop(key, None)
        st.session_state.pop(key, None)


def head(title: str, opened: Opened) -> None:
    """The head of every page: which register is open, its title, and what the tool does not do."""
    number = words.count(len(opened.known), "known unit")
    place = html.escape(opened.called)
    if opened.simulated:
        band = f"<b>PRACTICE REGISTER</b> – every unit in it is simulated, none was read on a bench. {number}."
        st.html(f'<div class="calib-band calib-practice" role="note">{band}</div>')
    else:
        st.html(f'<div class="calib-band" role="note">Open: <b>your register</b>, {number} ({place})</div>')
    with st.container():
        _show_notices()
    st.title(title, anchor=False)
    st.html(f'<p class="calib-disclaimer">{DISCLAIMER}</p>')


def caution(text: str) -> None:
    """A caution, to stand before the step that it belongs to."""
    st.warning(f"**Caution.** {text}")


def cautions(texts: Sequence[str]) -> None:
    """Several cautions in one place."""
    st.warning("**Caution.**\n" + "\n".join(f"- {text}" for text in texts))


def said_in_own_words(error: Exception) -> bool:
    """Say on the page that it met an error of its own, what is kept and what to do; the terminal says what it was.

    The server asks this of every exception that nothing caught, be it of a page or of a button, and shows nothing of
    its own where it is told so: it would repeat the error, or offer to look it up elsewhere.
    """
    st.error(SAID["own_error"])
    return True


def plain_lines(faults: Any) -> str:
    """Faults as a list, one line each, with nothing in them read as formatting."""
    rows = "".join(f"<li>{html.escape(str(fault))}</li>" for fault in faults)
    return f'<ul class="calib-faults">{rows}</ul>'


def show_faults(problem: str, faults: Any) -> None:
    """Everything that is wrong with an input, at once."""
    st.error(problem)
    st.html(plain_lines(faults))


@dataclass(frozen=True)
class _AsMade:
    """A chart of ours as the page takes it, not held to the schema anew each time: the tests have done that."""

    chart: alt.LayerChart

    def to_dict(self) -> dict[str, Any]:
        """What is sent to the browser."""
        return self.chart.to_dict(validate=False)


def picture(chart: alt.LayerChart, key: str, chosen: Callable[[], None] | None = None) -> None:
    """A picture of `calib.charts` across the page; `chosen` is called where a mark of it is clicked on."""
    how = {"on_select": chosen} if chosen else {}
    st.altair_chart(_AsMade(chart), theme=None, width="stretch", key=key, **how)  # type: ignore[call-overload]


def in_words(told: str) -> None:
    """A picture's numbers as text, for those who cannot see it."""
    with st.expander("This picture in words"):
        st.text(told)


def table(headings: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[int] = ()) -> str:
    """A table for reading, which wraps on a narrow screen; the columns named in `numeric` stand flush right."""
    place = [' class="num"' if column in numeric else "" for column in range(len(headings))]
    top = "".join(f'<th scope="col"{here}>{html.escape(name)}</th>' for name, here in zip(headings, place, strict=True))
    body = ""
    for row in rows:
        cells = "".join(f"<td{here}>{_cell(cell)}</td>" for cell, here in zip(row, place, strict=True))
        body += f"<tr>{cells}</tr>"
    inner = f"<thead><tr>{top}</tr></thead><tbody>{body}</tbody>"
    return f'<div class="calib-scroll"><table class="calib-table">{inner}</table></div>'


def _cell(text: str) -> str:
    """A cell's text, in which V/Ω stays in one piece."""
    return html.escape(text).replace("/Ω", "/&NoBreak;Ω")


def drawn(values: Mapping[str, Any], way_out: str = "") -> str:
    """Everything that stands against a unit, as HTML; blank where nothing does.

    Parameters
    ----------
    values : mapping of str to object
        The columns stop, stop_cleared and doubts.
    way_out : str
        What to do about a stop.
    """
    found: dict[str, list[str]] = {}
    for kind, said in standing(values):
        found.setdefault(kind, []).extend(said.split(" | ") if kind == "stop" else [said])
    return "".join(
        (
            stop("Stop, feed it nothing", found.get("stop", ()), way_out),
            cleared("A stop was cleared", found.get("cleared", ())),
            doubts("In doubt, look again", found.get("doubt", ())),
        )
    )


def stop(heading: str, said: Sequence[str], way_out: str = "") -> str:
    """A stop, as HTML; blank where nothing is said."""
    if not said:
        return ""
    after = f"<p>{html.escape(way_out)}</p>" if way_out else ""
    inner = f"<p><b>{html.escape(heading)}</b></p>{_listed(said)}{after}"
    return f'<div class="calib-stop" role="alert">{PLATE}<div>{inner}</div></div>'


def cleared(heading: str, said: Sequence[str]) -> str:
    """A stop that was cleared, as HTML."""
    return _block("cleared", heading, said)


def doubts(heading: str, said: Sequence[str]) -> str:
    """Doubts, as HTML; blank where nothing is said."""
    return _block("doubts", heading, said)


def _block(kind: str, heading: str, said: Sequence[str]) -> str:
    if not said:
        return ""
    return f'<div class="calib-{kind}" role="note"><p><b>{html.escape(heading)}</b></p>{_listed(said)}</div>'


def _listed(said: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{html.escape(one)}</li>' for one in said)}</ul>"


def account(metered: Metered) -> str:
    """The sentence and the table, as HTML; blank where V/R is not known yet.

    Parameters
    ----------
    metered : Metered
        What the meters make of the readings.
    """
    if not metered.parts:
        return ""
    most = html.escape(words.sentence(bench.main_part(metered.parts)))
    rows = [
        (part.source, f"{words.figure(part.u_pct, 2)} %", words.percent(part.share), part.remedy)
        for part in metered.parts
        if part.share >= PART_SHOWN
    ]
    heads = ("how sure V/R is", "makes", "share", "what makes it smaller")
    said = (
        f'<p class="calib-more" id="account">By these meters V/R has a standard uncertainty of '
        f"<b>{words.figure(metered.u_pct, 2)} %</b>. {most} It is in the interval above; units of one size differ by "
        "far more.</p>"
    )
    return said + table(heads, rows, numeric=(1, 2))


def filled(fields: Mapping[str, Any], source: str, standing: Mapping[str, str], session: str = "") -> dict[str, Any]:
    """What the form was filled from.

    Parameters
    ----------
    fields : mapping of str to object
        What was put into it, by field.
    source : str
        Where that came from, in words.
    standing : mapping of str to str
        What stands against the unit: the columns stop, stop_cleared and doubts.
    session : str
        The bench session that it came from; blank where from none.

    Returns
    -------
    dict
        To be kept under `FILLED`.
    """
    return {"fields": dict(fields), "source": source, "standing": dict(standing), "session": session}
