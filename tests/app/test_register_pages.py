"""The register's pages as the server runs them, without a browser: adding, bringing in, the calibration's picture."""

from __future__ import annotations

import gzip
import html
import io
import math
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib import words
from calib.app import context
from tests.app.bench_visits import with_more
from tests.app.visits import (
    HOME,
    KNOWN,
    READINGS,
    ROOT,
    SIZE,
    TRUST,
    UNIT,
    enter,
    fill,
    number,
    opened,
    settle,
    text_of,
    unescaped,
)

GUIDE = "a maker's guide, with its factor"


@pytest.fixture(autouse=True)
def visit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own."""
    return settle(tmp_path, monkeypatch)


def add(at: AppTest, **changes: object) -> AppTest:
    for name, value in (UNIT | changes).items():
        fill(at, f"add_{name}", value)
    at.button(key="submit_unit").click().run()
    assert not at.exception
    return at


def sentence_in(at: AppTest) -> str:
    return next(line for line in text_of(at).splitlines() if "calib-answer" in line)


def test_a_unit_added_on_the_page_is_in_the_register_changes_the_estimate_and_is_asked_about_if_it_differs(
    visit: Path,
) -> None:
    at = enter(opened(), **READINGS)
    before = sentence_in(at)
    at = add(at.switch_page(KNOWN).run())
    assert "Added AL" in at.success[0].value
    with calib.Register(visit) as register:
        (row,) = register.known().to_dict("records")
    assert {name: row[name] for name in UNIT} == UNIT | {"centre_tapped": True}
    assert sentence_in(at.switch_page(HOME).run()) != before
    at = add(at.switch_page(KNOWN).run(), rated_current_ma=70.0)
    assert "Amend it, or another unit?" in unescaped(at.warning[0].value)
    assert "1 of 1 known unit" in text_of(opened(KNOWN))


def test_maker_halves_and_the_basis_of_the_rating_are_asked_in_plain_words_and_kept(visit: Path) -> None:
    at = opened(KNOWN)
    basis = at.selectbox(key="add_rating_basis")
    assert basis.options == ["direct current out of the rectifier", "ac of the winding, rms", GUIDE]
    asked = [one.key for one in at.text_input]
    assert asked.index("add_hv_half_1_ohm") == asked.index("add_hv_resistance_ohm") + 1
    assert "add_guide_factor" not in asked
    basis.set_value("guide").run()
    more = {"rating_basis": "guide", "guide_factor": 0.62, "hv_half_1_ohm": 92.1, "hv_half_2_ohm": 96.5}
    more |= {"maker": "Alder & Sons", "made_year": 1938.0, "transformer": "AL 7", "u_primary_pct": 0.5}
    more |= {"primary_resistance_ohm": 4.2}
    at = add(at, **more)
    assert "Added AL" in at.success[0].value
    with calib.Register(visit) as register:
        (row,) = register.known().to_dict("records")
    assert {name: row[name] for name in more} == more


def test_a_factor_without_its_guide_is_let_go(visit: Path) -> None:
    at = opened(KNOWN)
    at.selectbox(key="add_rating_basis").set_value("guide").run()
    fill(at, "add_guide_factor", 0.62)
    at.run()
    add(at, rating_basis="dc")
    with calib.Register(visit) as register:
        (row,) = register.known().to_dict("records")
    assert row["rating_basis"] == "dc"
    assert math.isnan(row["guide_factor"])


def test_a_register_that_is_gone_is_not_made_anew_under_an_open_page(visit: Path) -> None:
    at = add(opened(KNOWN))
    moved = visit.rename(visit.with_name("elsewhere.duckdb"))
    for page in (HOME, KNOWN):
        at.switch_page(page).run()
        assert not at.exception
        assert f"{visit}: it was open here and is gone; put it back" in unescaped(at.error[0].value)
    assert not visit.exists()
    moved.rename(visit)
    at.button(key="try_again").click().run()
    assert "1 of 1 known unit" in text_of(at)


def test_real_readings_under_the_practice_register_s_name_are_refused(visit: Path) -> None:
    with calib.Register(visit.with_name("practice.duckdb")) as register:
        register.add(calib.KnownUnit.parse(UNIT))
    at = opened()
    at.radio(key=context.CHOICE).set_value(context.PRACTICE).run()
    assert not at.exception
    said = f"{register.path}: it is a register of real readings, under the practice register's name; give yours another"
    assert said in unescaped(at.error[0].value)
    at.radio(key=context.CHOICE).set_value(context.OWN).run()
    assert "your register" in text_of(at)


def test_the_page_says_whom_it_waits_for_while_it_waits(visit: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with calib.Register(visit) as register:
        register.add(calib.KnownUnit.parse(UNIT))
    hold = "import sys, time, pathlib\nfrom calib.register.gate import session\n"
    hold += "with session(pathlib.Path(sys.argv[1])):\n print(flush=True)\n time.sleep(600)"
    holder = subprocess.Popen([sys.executable, "-c", hold, str(visit)], stdout=subprocess.PIPE)
    assert holder.stdout is not None
    holder.stdout.readline()
    said, waiting = [], context.waiting

    def let_go_once_told() -> Callable[[str], None]:
        show = waiting()

        def tell(text: str) -> None:
            show(text)
            said.append(text)
            holder.kill()

        return tell

    monkeypatch.setattr(context, "waiting", let_go_once_told)
    at = opened(KNOWN)
    holder.wait()
    assert said[0].startswith(f"waiting for process {holder.pid} (python")
    assert said[1:] == [""]
    assert "1 of 1 known unit" in text_of(at)
    assert "waiting for" not in text_of(at).lower()


def test_a_register_is_read_again_only_when_its_file_changed(visit: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    at = add(opened(KNOWN))
    asked: list[Path] = []
    contents = calib.Register.contents

    def counted(register: calib.Register) -> object:
        asked.append(register.path)
        return contents(register)

    monkeypatch.setattr(calib.Register, "contents", counted)
    time.sleep(0.1)  # a file of the last moment may change and look the same
    at.run()
    del asked[:]
    at.run()
    assert (asked, "1 of 1 known unit" in text_of(at)) == ([], True)
    more = "import calib, sys\nunit = calib.KnownUnit.parse(eval(sys.argv[2]))\ncalib.Register(sys.argv[1]).add(unit)"
    subprocess.run([sys.executable, "-c", more, str(visit), repr(UNIT | {"unit": "AL-8"})], check=True)
    at.run()
    assert (asked, "2 of 2 known units" in text_of(at)) == ([visit], True)


def test_what_is_worth_knowing_of_the_register_s_file_stays_until_it_is_put_away(visit: Path) -> None:
    old = ROOT / "tests" / "register" / "shipped" / "schema_0001.duckdb.gz"
    visit.write_bytes(gzip.decompress(old.read_bytes()))
    at = opened(KNOWN)
    assert [path.name for path in visit.parent.glob("*schema-1*")] == []
    add(at, unit="AL-99")
    at.switch_page(HOME).run()
    (copy,) = visit.parent.glob("own.schema-1.*.duckdb")
    assert f"it stays as it was in {copy.name}." in unescaped(at.info[0].value)
    at.button(key="notices_seen").click().run()
    assert copy.name not in unescaped(text_of(at))


def test_a_backup_of_the_page_is_the_register_and_the_check_says_what_is_wrong(visit: Path, tmp_path: Path) -> None:
    at = add(opened(KNOWN))
    at.button(key="seen_make_backup").click().run()
    assert not at.exception
    saving = at.get("download_button")[-1]
    assert saving.label == f"Save it: own.{date.today()}.duckdb"
    _, _, content = at.session_state["seen_backup"]
    (tmp_path / "taken away.duckdb").write_bytes(content)
    with calib.Register(tmp_path / "taken away.duckdb") as backup, calib.Register(visit) as register:
        assert backup.revisions().equals(register.revisions())
    assert f"calib restore-from BACKUP --register {visit}" in at.code[0].value
    at.button(key="seen_check").click().run()
    assert "known units: 1; read through: revisions of known units 1" in unescaped(at.success[0].value)
    visit.with_name(".0123456789ab.calib.new").write_bytes(b"part of a copy")
    at.button(key="seen_check").click().run()
    assert "nothing is wrong with it" in at.success[0].value
    assert ".0123456789ab.calib.new: part of a register that somebody makes or copies" in unescaped(at.info[-1].value)
    with duckdb.connect(str(visit)) as con:
        con.execute("UPDATE revisions SET revision = 2")
    at.button(key="seen_check").click().run()
    assert not at.exception
    assert "known units: 1; read through" in unescaped(at.error[0].value)
    assert "AL-7: of its revisions 1 can be counted, the last is number 2; restore it from a backup" in text_of(at)


def in_address(at: AppTest) -> str:
    named = at.query_params["register"]
    return named if isinstance(named, str) else ",".join(named)


def test_a_reload_opens_the_register_that_was_open(visit: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However the server was started: what is added after a reload goes where it would have gone before."""
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened()
    assert in_address(at) == "practice"
    at.radio(key=context.CHOICE).set_value(context.OWN).run()
    at.switch_page(KNOWN).run()
    assert in_address(at) == "own"
    again = opened(KNOWN, register="own")
    assert "your register" in text_of(again)
    assert "Added AL" in add(again).success[0].value
    with calib.Register(visit) as register:
        assert register.count() == 1
    again.query_params["register"] = "practice"  # the browser's way back
    assert "PRACTICE REGISTER" in text_of(again.run())
    again.radio(key=context.CHOICE).set_value(context.OWN).run()
    assert in_address(again) == "own"


@pytest.mark.parametrize("named", ["{folder}/other.duckdb", "", "own,practice", "![a](//elsewhere.example)"])
def test_an_address_opens_no_register_but_the_two(visit: Path, named: str) -> None:
    other = visit.with_name("other.duckdb")
    with calib.Register(other) as register:
        register.add(calib.KnownUnit.parse(UNIT), by="Alder Lane")
    wanted = named.replace("{folder}", str(visit.parent)).split(",")
    at = opened(KNOWN, register=wanted)
    assert "No known units yet" in text_of(at)
    assert in_address(at) == "own"
    told = f"The address asks for the register '{', '.join(wanted)[:40]}"
    assert unescaped(at.warning[0].value).startswith(told)
    assert "which is not among ours: your own register is open." in unescaped(at.warning[0].value)
    assert words.plain(", ".join(wanted)[:40]) in at.warning[0].value
    at.radio(key=context.CHOICE).set_value(context.PRACTICE).run()
    assert "The address asks" not in text_of(at)


def test_all_that_is_wrong_with_a_new_unit_is_told_by_its_field_and_nothing_is_added(visit: Path) -> None:
    at = add(opened(KNOWN), rated_current_ma=0.0, winding_temp_c=900.0, evidence=None)
    told = " ".join(one.value for one in at.error)
    for name in ("Rated current: 0", "Winding temperature: 900", "Evidence: empty"):
        assert name in unescaped(told)
    assert number(at, "add_winding_temp_c") == 900.0
    assert at.text_input(key="add_unit").value == "AL-7"
    with calib.Register(visit) as register:
        assert register.count() == 0


def bring_in(at: AppTest, name: str, content: bytes) -> AppTest:
    at.file_uploader[0].set_value((name, content, "text/csv")).run()
    assert not at.exception
    return at


def table_of(*rows: dict[str, object]) -> bytes:
    lines = [",".join(UNIT), *(",".join(str(row[name]) for name in UNIT) for row in rows)]
    return "\n".join([*lines, ""]).encode()


def test_a_table_with_faults_changes_nothing_and_every_fault_is_listed(visit: Path) -> None:
    bad = UNIT | {"unit": "AL-9", "rated_current_ma": "lots", "line_voltage_v": -5}
    said = text_of(bring_in(opened(KNOWN), "bench.csv", table_of(UNIT, bad)))
    assert "2 things to mend" in said
    assert "bench.csv, row 3, rated_current_ma &#x27;lots&#x27;" in said
    assert "bench.csv, row 3, line_voltage_v &#x27;-5&#x27;" in said
    with calib.Register(visit) as register:
        assert register.count() == 0


def test_a_table_is_looked_through_and_brought_in_whole_but_not_with_a_unit_that_the_bench_stopped(
    visit: Path,
) -> None:
    low = with_more(insulation={"megohm_1": 3.0}, look={"tag": "AL-7"})
    with calib.Register(visit) as register:
        register.keep_session("AL-7", low, "sum", contributor="Alder Lane")
    at = bring_in(opened(KNOWN), "bench.csv", table_of(UNIT, UNIT | {"unit": "AL-8"}))
    at.button(key="bring_in").click().run()
    assert "Nothing was brought in." in at.error[0].value
    assert "unit &#x27;AL-7&#x27;: its bench session says stop, feed nothing: Insulation" in text_of(at)
    with calib.Register(visit) as register:
        assert register.count() == 0
    odd = UNIT | {"unit": "<b>AL-8</b>", "winding_temp_c": 70}
    at = bring_in(at, "bench.csv", table_of(UNIT | {"unit": "AL-9"}, odd))
    assert "Worth a second look before you bring it in" in at.warning[0].value
    said = (
        "bench.csv, row 3, <b>AL-8</b>: winding_temp_c: 70 °C is unusual: most are 5 to 40 °C; did you mean 21.111 °C"
    )
    assert html.escape(said) in text_of(at)
    at.button(key="bring_in").click().run()
    assert "2 units added" in unescaped(at.success[0].value)
    assert "Worth a second look" not in text_of(bring_in(at, "bench.csv", table_of(UNIT)))
    with calib.Register(visit) as register:
        assert register.count() == 2


def test_a_spreadsheet_s_table_is_shown_as_it_is_read_and_confirmed_by_bringing_it_in(
    visit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(visit.parent))
    raw = table_of(UNIT | {"hv_resistance_ohm": "1,310"}).decode().replace(",", ";").replace("1;310", "1,310").encode()
    at = bring_in(opened(KNOWN), "bench.csv", raw)
    assert "hv_resistance_ohm &#x27;1,310&#x27;: may be two numbers" in text_of(at)
    at.radio(key="seen_decimal_0").set_value("a point").run()
    assert "the cells are parted by semicolons" in text_of(at)
    at.button(key="bring_in").click().run()
    assert "1 unit added" in unescaped(at.success[0].value)
    said = text_of(bring_in(at, "bench.csv", raw))
    assert "read as in the last table of this header" in said
    with calib.Register(visit) as register:
        assert register.known()["hv_resistance_ohm"].tolist() == [1310.0]


def test_somebody_s_bundle_is_shown_merged_and_what_contradicts_waits(visit: Path, tmp_path: Path) -> None:
    typed = {name: str(value) for name, value in UNIT.items()}
    with calib.Register(tmp_path / "theirs.duckdb") as theirs, calib.Register(visit) as mine:
        theirs.add(calib.KnownUnit.parse(typed | {"unit": "<b>AL-8</b>"}), by="Tin Street")
        theirs.add(calib.KnownUnit.parse(typed | {"rated_current_ma": "91"}), by="Tin Street")
        mine.add(calib.KnownUnit.parse(typed | {"rated_current_ma": "92"}))
        files = theirs.export(tmp_path / "out", licence="CC0-1.0")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as made:
        for path in files:
            made.write(path, f"out/{path.name}")
    at = opened(KNOWN)
    at.file_uploader[1].set_value([("theirs.zip", packed.getvalue(), "application/zip")]).run()
    assert not at.exception
    said = unescaped(text_of(at))
    assert "theirs.zip: 1 new, 0 identical, 0 amended, 0 amended here, 1 contradicting. Licence: CC0-1.0." in said
    assert "Alder Lane, AL-7: rated_current_ma 92 here, 91 there; here by nobody named" in said
    with calib.Register(visit) as register:
        assert register.count() == 1
    at.multiselect(key="seen_take_0").select("Alder Lane, AL-7").run()
    at.button(key="merge_in").click().run()
    assert "theirs.zip: 2 revisions merged; the register holds 2 known units" in unescaped(at.success[0].value)
    with calib.Register(visit) as register:
        assert register.history("Alder Lane", "AL-7")["rated_current_ma"].tolist() == [92.0, 91.0]
    at.file_uploader[1].set_value([("theirs.zip", b"PK", "application/zip")]).run()
    assert "theirs.zip: is no zip that can be unpacked" in text_of(at)


def test_a_bundle_is_made_with_its_licence(visit: Path) -> None:
    with calib.Register(visit) as register:
        register.add(calib.KnownUnit.parse({name: str(value) for name, value in UNIT.items()}))
    at = opened(KNOWN)
    at.text_input(key="seen_licence").set_value("CC0-1.0").run()
    at.button(key="seen_make_bundle").click().run()
    assert not at.exception
    _, _, made = at.session_state["seen_bundle_made"]
    with zipfile.ZipFile(io.BytesIO(made)) as packed:
        assert b"CC0-1.0" in packed.read("datapackage.json")
    assert "Save it: known-units.zip" in str([one.proto for one in at.get("download_button")])


def test_the_size_page_draws_the_prior_and_the_classes_of_the_supply_asked_for() -> None:
    at = opened(SIZE)
    assert "Before any record" in text_of(at)
    assert "The size classes" in text_of(at)
    at.radio(key=context.CHOICE).set_value(context.PRACTICE).run()
    with calib.practice_register() as register:
        classes = calib.fit(register.known()).classes(0.9)
    for filter_input in ("capacitor", "choke"):
        at.selectbox(key="seen_filter").set_value(filter_input).run()
        assert not at.exception
        chosen = classes[(classes["rectifier"] == "full-wave") & (classes["filter"] == filter_input)]
        assert len(chosen) == 7
        for mean in chosen["multiplier"]:
            assert math.isfinite(mean)
            assert f">{mean:.{1 if mean < 100 else 0}f}<" in text_of(at)


def test_what_contradicts_is_said_above_the_picture_as_data(monkeypatch: pytest.MonkeyPatch) -> None:
    said = "the units read by *Hut* rate 2.21 times as much as the others"
    monkeypatch.setattr(calib.Multiplier, "conflicts", lambda model: pd.DataFrame({"said": [said]}))
    (told,) = [one.value for one in opened(SIZE).warning if "contradict" in one.value]
    assert "\\*Hut\\*" in told


def test_the_trust_page_tells_what_the_check_finds_and_before_any_unit_what_the_answers_rest_on() -> None:
    at = opened(TRUST)
    assert "No known unit of yours counts yet" in text_of(at)
    assert "first principles" in text_of(at)
    at.radio(key=context.CHOICE).set_value(context.PRACTICE).run()
    with calib.practice_register() as register:
        model = calib.fit(register.known())
    check, table = model.check(0.9), model.left_out(0.9)
    inside = int(table["inside"].sum())
    off = f"within {check.median_error * 100:.0f} % of what the record states"
    assert f"{inside} of {check.folds} known units lie inside the interval that was to hold nine in ten" in text_of(at)
    assert off in text_of(at)
    assert ">a contributor<" not in text_of(at)
    at.checkbox(key="seen_trust_contributors").check().run()
    assert not at.exception
    assert text_of(at).count(">a contributor<") == 3
    for name, one in table.groupby("contributor"):
        told = f"{one['inside'].sum()} of {len(one)}".replace(" ", "\N{NO-BREAK SPACE}")
        assert f'<td>{name}</td><td class="num">{told}</td>' in text_of(at)


def test_each_count_of_the_trust_page_is_the_trials_own() -> None:
    """The shipped trials as the page tells them: worst and best population of 30 known units, real windings inside."""
    shown = text_of(opened(TRUST))
    trial = pd.read_csv(calib.shipped("datasets/validation/coverage.csv"))
    asked = trial[(trial["known"] == 30) & (trial["spoiled_pct"] == 5)]["coverage"]
    ends = f"{asked.min() * 100:.0f} % to {asked.max() * 100:.0f} %"
    assert f'{asked.mean() * 100:.0f} %</td><td class="num">{ends}</td>' in shown
    drift = trial[(trial["known"] >= 30) & (trial["spoiled_pct"] == 5)]
    worst = set(drift.loc[drift.groupby("known")["coverage"].idxmin(), "scene"])
    assert worst == {"a drifting decade"}  # what the page says of them: years that drift away
