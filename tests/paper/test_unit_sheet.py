"""A unit's sheet: one page with the page's figures, what stands against a unit first, and what is cut said."""

from __future__ import annotations

import hashlib
import html
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib import paper
from calib.app import context, files
from calib.register.attachments import evidence_of, of_record
from calib.session import interpret, kept_demand, kept_estimate, kept_heat_run, unit_on_the_bench
from calib.session.protocol import practice_entries
from tests.app.hostile import NAMES
from tests.app.visits import ROOT, opened, settle, text_of
from tests.paper.reading import beyond, coloured, figures, pages, size_mm, text
from tests.register.test_evidence_file import picture

STOP, WHY = "insulation 0.4 MΩ: wet", "dried for two days, 80 MΩ"


@pytest.fixture(scope="module")
def register(tmp_path_factory: pytest.TempPathFactory) -> calib.Register:
    """The practice units, one tag read on two benches, two sessions, a photograph."""
    register = calib.Register(tmp_path_factory.mktemp("paper") / "club.duckdb", simulated=True)
    register.import_csv(calib.shipped("datasets/practice/known.csv"))
    for name in ("Quarry Bank", "Tin Street"):
        register.add(register.record("Alder Lane", "AL-06").model_copy(update={"unit": "T1", "contributor": name}))
    cleared = {"unit": "T2", "stop": STOP, "stop_cleared": WHY, "doubts": "the frame is bent | one lead is short"}
    register.add(register.record("Alder Lane", "AL-06").model_copy(update=cleared))
    made = practice_entries()
    register.keep_session("AL-5", made, "sum", contributor="Alder Lane")
    register.keep_session("", {"look": {}}, "look")
    register.keep_session(
        "bare", {"look": {"tag": "bare", "contributor": "Alder Lane"}}, "look", contributor="Alder Lane"
    )
    for number, kind in enumerate(("JPEG", "PNG")):
        register.attach(
            of_record("Alder Lane", "T2"), evidence_of(picture(kind, (400, 300)), f"plate {number}.{kind.lower()}")
        )
    return register


@pytest.fixture(scope="module")
def model(register: calib.Register) -> calib.Multiplier:
    return calib.fit(register.known())


@pytest.fixture(scope="module")
def shown(register: calib.Register, model: calib.Multiplier) -> paper.UnitSheet:
    """What the sheet of a session's unit shows, with an estimate, a demand and a heat run kept of it."""
    line_up = calib.load_rows([{"load": "6V6-GT", "count": "2"}, {"load": "6SQ7", "count": "3"}])
    supply = calib.SetSupply(capacitance_uf=60.0, valve="5Y3-GT")
    unit = interpret(practice_entries()).unit()
    (demand,) = calib.demand_of(model, unit, line_up, supply)
    run = calib.HeatRun(188.6, 20.0, 21.0, 22.0, 90.0, 60.0, (30.0, 60.0, 120.0, 240.0), (232.0, 230.0, 226.5, 220.4))
    answer = {**calib.estimate_unit(model, unit).answer.iloc[0], "rated_current_ma": 99.0}
    estimate = kept_estimate(model, answer, ("full-wave", "choke"), 0.9).model_copy(update={"fit": "another"})
    entry = calib.BenchEntry(
        readings=unit,
        estimate=estimate,
        demand=kept_demand(model, demand, line_up, supply),
        heat_run=kept_heat_run(calib.heat_run(run)),
    )
    register.keep_on_bench("AL-5", entry, contributor="Alder Lane")
    return paper.sheet_of_unit(register, "AL-5", model=model)


@pytest.mark.parametrize(("named", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_all_of_it_stands_on_one_page_in_shades_of_grey(
    shown: paper.UnitSheet, named: str, size: tuple[float, float]
) -> None:
    made = shown.pdf(named)
    assert pages(made) == 1
    assert size_mm(made) == pytest.approx(size, abs=0.01)
    assert beyond(made) == []
    assert coloured(made) == []
    assert b"/FontFile2" in made


def test_each_mark_of_the_picture_is_said_in_words(shown: paper.UnitSheet) -> None:
    said = text(replace(shown, marks=(*shown.marks, paper.Mark("asked", "the set draws 61 mA", 61.0))).pdf())
    for word in ("likely 1", "nine in ten at least", "the set draws 61 mA", "rated direct current, mA"):
        assert word in said


def test_it_says_what_it_is_and_what_stands_behind_it(shown: paper.UnitSheet, model: calib.Multiplier) -> None:
    said = text(shown.pdf())
    for word in (
        "An estimate, not a certificate",
        "SIMULATED practice data",
        f"By the fit {model.content_hash} of 63 known units in club.duckdb",
        "Readings as they stood on ",
        "Voltages in this equipment can kill.",
        "No stop and no doubt stands against it.",
        "On the bench of Alder Lane; estimated as full-wave, capacitor first.",
        "187.5 ± 1.2 Ω (0.62 %)",
        "Mean rise by resistance 59.1 ± 1.4 K",
        "Carried back by way A, which counts 233.91 Ω",
        "The set 2 × 6V6-GT, 3 × 6SQ7 First capacitor 60 µF Rectifier valve 5Y3-GT",
        "Source resistance of one plate 136 Ω, at least 50.0: kept",
        "Before you change anything: unplug",
        "a primary fuse does not protect it",
        "Odds that the rating suffices, average",
        "BROKEN, first capacitor: 60 µF, the limit is 20 µF; fit at most 20 µF first",
        "heat run 88 mA",
        "Was 99, now 116: ",
        "fit another For full-wave, choke first",
    ):
        assert word in said, word


def test_a_set_that_cannot_be_reckoned_again_stands_as_it_was_kept(
    register: calib.Register, model: calib.Multiplier
) -> None:
    kept = unit_on_the_bench(register, "AL-5", "Alder Lane", model)
    demand = kept.kept.demand
    assert demand is not None
    gone = demand.model_copy(update={"supply": {**demand.supply, "valve": "no such valve"}})
    now = replace(kept, kept=replace(kept.kept, demand=gone))
    behind = paper.Behind.of("club.duckdb", True, "bench", model)
    said = text(paper.of_bench(now, model, behind).pdf())
    for word in ("these are the figures as they were kept", "BROKEN, first capacitor: 60 µF", "Draws at worst 111 mA"):
        assert word in said, word
    assert "What would make it fit" not in said


def test_what_has_no_room_is_left_out_whole_and_named(shown: paper.UnitSheet) -> None:
    """The photograph, the set and the run stay; the parts that the page can do without go, as many as must."""
    note = paper.Block("Notes", said=("It hums. " * 250,))
    full = replace(shown, blocks=(*shown.blocks, note), photograph=paper.Photograph("plate.jpeg", picture("JPEG")))
    for named in ("a4", "letter"):
        made = full.pdf(named)
        said = text(made)
        assert (pages(made), beyond(made)) == (1, [])
        assert b"/Subtype /Image" in made
        assert "Cut here" not in said
        (out,) = re.findall("Left out for want of room: (.*?). All of it stands with the unit on the bench", said)
        assert "the working" in out
        for title in ("Readings", "What the set asks of it", "The rectifier's duty", "Heat run", "Caution"):
            assert title in said, title
        assert said.count("It hums.") == 250


@pytest.fixture
def pressed(register: calib.Register, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Callable[[str], bytes]]:
    """The register on the page, and what the buttons of the pages that are opened print."""
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_REGISTER", str(register.path))
    made: list[Callable[[str], bytes]] = []
    monkeypatch.setattr(files, "print_buttons", lambda key, tag, one: made.append(one))
    return made


def shown_on(at: AppTest, begin: str, end: str, *, html_only: bool = False) -> str:
    told = "\n".join(str(one.proto.body) for one in at.get("html")) if html_only else text_of(at)
    said = html.unescape(re.sub("<[^>]+>", " ", told)).replace("\u2060", "").replace("\\", "")
    return said[said.index(begin) : said.index(end, said.index(begin))]


def test_every_figure_of_a_records_page_stands_on_its_sheet(pressed: list[Callable[[str], bytes]]) -> None:
    at = opened()
    at.session_state[context.GO_TO] = ("Alder Lane", "AL-06")
    at.run()
    asked = figures(shown_on(at, "As it stands", "revision") + shown_on(at, "This one is ringed", "\n"))
    assert len(asked) > 25
    for named in ("a4", "letter"):
        assert sorted(asked - figures(text(pressed[-1](named)))) == []


def test_every_figure_of_an_answer_stands_on_its_sheet(pressed: list[Callable[[str], bytes]]) -> None:
    at = opened()  # it begins with the first practice unit, the register being one of such
    asked = figures(shown_on(at, "ost likely", ".stApp", html_only=True))
    assert len(asked) > 80
    for named in ("a4", "letter"):
        assert sorted(asked - figures(text(pressed[-1](named)))) == []


def test_stops_and_doubts_come_first_with_how_they_were_cleared(
    register: calib.Register, model: calib.Multiplier, shown: paper.UnitSheet
) -> None:
    said = text(calib.unit_sheet(register, "T2", model=model))
    first = said[: said.index("Rated 230 mA")]
    assert first.index("A stop was cleared") < first.index(f"{STOP}; why it no longer stands: {WHY}")
    assert first.index("In doubt, look again") < first.index("the frame is bent") < first.index("one lead is short")
    stopped = text(replace(shown, against=(("doubt", "why not"), ("stop", "a shorted turn"))).pdf())
    before = stopped[: stopped.index("Most likely")]
    assert before.index("STOP, feed it nothing • a shorted turn") < before.index("In doubt, look again • why not")


def test_a_record_is_stopped_by_what_its_session_says(tmp_path: Path, model: calib.Multiplier) -> None:
    made = practice_entries()
    made["insulation"] |= {"megohm_1": 0.1}
    assert interpret(made).stops
    with calib.Register(tmp_path / "own.duckdb", simulated=True) as register:
        register.import_csv(calib.shipped("datasets/practice/known.csv"))
        register.add(register.record("Alder Lane", "AL-06").model_copy(update={"unit": "AL-5"}))
        register.keep_session("AL-5", made, "sum", contributor="Alder Lane")
        said = text(calib.unit_sheet(register, "AL-5", model=model))
    assert said.index("STOP, feed it nothing") < said.index("Rated 230 mA")


@pytest.mark.parametrize("named", ["a4", "letter"])
def test_a_long_note_many_doubts_and_a_long_tag_do_not_run_off_the_page(shown: paper.UnitSheet, named: str) -> None:
    doubts = tuple(("doubt", f"doubt {number}: {'it hums and smells of pitch; ' * 6}") for number in range(12))
    note = paper.Block("Notes", said=("A word of it. " * 3000,))
    full = replace(shown, unit="W" * 200, about="x" * 900, against=doubts, blocks=(*shown.blocks, note))
    made = full.pdf(named)
    assert (pages(made), beyond(made)) == (1, [])
    said = text(made)
    shown_whole = sum(f"doubt {number}:" in said for number in range(12))
    assert 0 < shown_whole < 12
    left_out = re.findall(r"Cut here for want of room, (\d+) not shown in full: all of it stands (.*?)\.", said)
    assert len(left_out) >= 3
    assert int(left_out[1][0]) in (12 - shown_whole, 13 - shown_whole)
    assert {where for _, where in left_out} == {"with the unit on the bench of club"}
    assert "An estimate, not a certificate" in said
    assert "Voltages in this equipment can kill." in said


@pytest.mark.parametrize("name", [*NAMES, "{nb} {count} %s", "東京 🔥 \u202eabc", "a\nb", "</text>\\) Tj"])
def test_what_people_wrote_arrives_as_it_was_written(shown: paper.UnitSheet, name: str) -> None:
    rows = ((name, name), ("Maker", name))
    odd = replace(shown, unit=name, about=name, against=(("stop", name), ("doubt", name)), source=name, where=name)
    odd = replace(odd, finding=(name, name), blocks=(paper.Block(name, rows, (name,)),))
    odd = replace(odd, photograph=paper.Photograph(name, b"no picture"))
    said = text(odd.pdf())
    strange = not name.isascii()
    as_printed = "[U+6771][U+4EAC] [U+1F525] [U+202E]abc" if strange else " ".join(name.split())
    assert said.count(as_printed) >= 11
    assert ("stand as their numbers" in said) == strange


def test_a_photograph_is_drawn_and_the_other_files_counted(register: calib.Register, model: calib.Multiplier) -> None:
    made = calib.unit_sheet(register, "T2", "Alder Lane", "letter", model)
    assert b"/Subtype /Image" in made
    assert "plate 0.jpeg; 1 more attached file" in text(made)
    assert b"/Subtype /Image" not in calib.unit_sheet(register, "AL-06", model=model)


def test_the_same_unit_gives_the_same_bytes_in_another_place_and_language(
    register: calib.Register, model: calib.Multiplier, tmp_path: Path
) -> None:
    made = calib.unit_sheet(register, "T2", model=model)
    assert calib.unit_sheet(register, "T2", model=model) == made
    code = "import hashlib, sys, calib\nwith calib.Register(sys.argv[1], create=False) as r: print(hashlib."
    code += "sha256(calib.unit_sheet(r, 'T2')).hexdigest())"
    there = {"TZ": "Pacific/Auckland", "LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8", "PYTHONHASHSEED": "7"}
    there |= {"HOME": str(tmp_path), "PATH": "/usr/bin:/bin", "XDG_DATA_HOME": str(tmp_path)}
    command = [sys.executable, "-c", code, str(register.path)]
    done = subprocess.run(command, capture_output=True, text=True, env=there, cwd=ROOT, check=True)
    assert done.stdout.strip() == hashlib.sha256(made).hexdigest()


def test_a_unit_that_is_nowhere_or_twice_is_refused_with_what_to_do(
    register: calib.Register, model: calib.Multiplier
) -> None:
    twice = "unit 'T1': is the tag of 2 units, read by Quarry Bank and Tin Street; say whose with --contributor"
    with pytest.raises(calib.InputError, match=re.escape(twice)):
        calib.unit_sheet(register, "T1", model=model)
    assert "read by Tin Street" in text(calib.unit_sheet(register, "T1", "Tin Street", model=model))
    for tag, whose in (("T9", None), ("T1", "nobody"), ("", None)):
        with pytest.raises(calib.InputError, match="the register has no such unit, known or on the bench"):
            calib.unit_sheet(register, tag, whose, model=model)


def test_a_session_without_readings_says_what_is_still_needed(
    register: calib.Register, model: calib.Multiplier
) -> None:
    said = text(calib.unit_sheet(register, "bare", model=model))
    assert "No current is told yet: " in said
    assert "Winding resistance is needed" in said


@pytest.mark.parametrize("likely", [0.4, 7.0, 90.0, 8000.0])
@pytest.mark.parametrize("spread", [1.02, 1.4, 4.0])
@pytest.mark.parametrize("asked", [0.01, 1.0, 50.0])
def test_the_picture_stays_within_its_place(shown: paper.UnitSheet, likely: float, spread: float, asked: float) -> None:
    """Whatever the currents: one that is narrow, one over decades, a demand far beside it."""
    currents = np.geomspace(likely / spread**2, likely * spread**2, 81)
    curve = pd.DataFrame(
        {"current_ma": currents, "density": np.exp(-((np.log(currents / likely) / np.log(spread)) ** 2))}
    )
    answer = {"low_ma": likely / spread, "high_ma": likely * spread}
    marks = (paper.Mark("likely", "likely", likely), paper.Mark("asked", "the set draws", asked * likely))
    assert beyond(replace(shown, answer=answer, curve=curve, marks=marks, blocks=(), working=()).pdf()) == []
