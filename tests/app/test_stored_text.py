"""Text from a register is shown as it stands on every page: nothing in it is formatting, nothing becomes an address."""

from __future__ import annotations

import html
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from calib import words
from calib.session.protocol import NAMES as STEPS
from tests.app.bench_visits import METERS_SAY, go, press
from tests.app.hostile import NAMES, fill
from tests.app.visits import KNOWN, SIZE, TRUST, UNIT, enter, fill as fill_in, opened, settle

LEADS = "calib/app/pages/which_lead_is_which.py"
# What the browser shows as it stands; all other text of a page is Markdown.
AS_IT_STANDS = {
    ("Selectbox", "options"),
    ("Selectbox", "raw_value"),
    ("MultiSelect", "options"),
    ("MultiSelect", "raw_values"),
    ("Text", "body"),
    ("TextInput", "value"),
    ("TextInput", "default"),
    ("TextArea", "default"),
    ("VegaLiteChart", "spec"),
    ("Dataframe", "columns"),
}
NEVER_SHOWN = {"id", "form_id", "key", "form"}


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a register that is full of such names."""
    folder = tmp_path_factory.mktemp("hostile")
    fill(folder / "own.duckdb", folder)
    return folder


@pytest.fixture(autouse=True)
def register(full: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copy(full / "own.duckdb", settle(tmp_path, monkeypatch))


def texts(message: Any, kind: str = "", name: str = "") -> Iterator[tuple[str, str, str]]:
    """Every text of what is sent to the browser: what kind of element it is in, its field, itself."""
    if isinstance(message, str):
        yield kind, name, message
    elif hasattr(message, "ListFields"):
        for field, value in message.ListFields():
            if field.name not in NEVER_SHOWN:
                yield from texts(value, message.DESCRIPTOR.name, field.name)
    elif hasattr(message, "items"):
        for value in message.values():
            yield from texts(value, kind, name)
    elif not isinstance(message, (bytes, int, float)):
        for value in message:
            yield from texts(value, kind, name)


def shown(at: AppTest) -> list[tuple[str, str, str]]:
    """Every text of a page, blocks that fold and columns included."""
    found: list[tuple[str, str, str]] = []
    waiting: list[Any] = [at._tree]
    while waiting:
        node = waiting.pop()
        waiting.extend(getattr(node, "children", {}).values())
        if getattr(node, "proto", None) is not None:
            found.extend(texts(node.proto))
    return found


def held_harmless(at: AppTest, least: int) -> None:
    """No name stands anywhere where it would be formatting, and at least so many are on the page at all."""
    assert not at.exception
    met = set()
    for kind, name, text in shown(at):
        if (kind, name) in AS_IT_STANDS:
            continue
        for one in NAMES:
            if (kind, name) == ("Html", "body"):
                assert one == html.escape(one) or one.lower() not in text.lower(), text
                met |= {one} if html.escape(one) in text else set()
            else:
                assert one.lower() not in text.lower(), (kind, name, text)
                met |= {one} if words.plain(one) in text else set()
    assert len(met) >= least, met


def test_on_the_home_page() -> None:
    at = opened()
    for reads in ("volt", "ohm"):
        at.selectbox(key=f"read_{reads}meter").set_value(f"{NAMES[0]}, {NAMES[0]}")
    at.selectbox(key="read_contributor").set_value(NAMES[3])
    at.text_input(key="read_tag").set_value(NAMES[0])
    enter(at, excitation_v=4.97, volts_read=27.76, ohms_read=188.6)
    assert "What would sharpen it most" in [one.value for one in at.subheader]
    held_harmless(at, len(NAMES))
    at.button(key="drop_meter_0").click().run()
    held_harmless(at, len(NAMES))


def test_on_the_register_s_pages(full: Path) -> None:
    at = opened(KNOWN)
    for name, value in (UNIT | {"unit": NAMES[0], "contributor": NAMES[1]}).items():
        fill_in(at, f"add_{name}", value)
    at.button(key="submit_unit").click().run()
    assert words.plain(f"Added {NAMES[0]} of {NAMES[1]}.") in at.success[0].value
    held_harmless(at, len(NAMES))
    at.file_uploader[0].set_value((f"{NAMES[4]}.csv", (full / "hostile.csv").read_bytes(), "text/csv")).run()
    held_harmless(at, len(NAMES))
    at.file_uploader[0].set_value((f"{NAMES[4]}.csv", f"unit\n{NAMES[0]}\n".encode(), "text/csv")).run()
    held_harmless(at, len(NAMES))
    at.switch_page(SIZE).run()
    held_harmless(at, 1)


def test_on_the_pages_of_the_bench() -> None:
    at = opened(METERS_SAY)
    held_harmless(at, len(NAMES))
    mine = f": {words.plain(NAMES[0])}"
    press(at, next(one.key for one in at.button if one.key.startswith("bench_on_") and one.help.endswith(mine)))
    for step in ("leads", "resistance", "ratio", STEPS[-1]):
        held_harmless(go(at, step), 1)
    at.switch_page(LEADS).run()
    held_harmless(at, len(NAMES))
    at.text_input(key="leads_tags").set_value(", ".join([*NAMES, NAMES[0], f"{NAMES[1]} {NAMES[1]}"])).run()
    held_harmless(at, len(NAMES))
    at.switch_page(METERS_SAY).run()
    go(at, STEPS[-1])
    held_harmless(press(at, "bench_finish"), len(NAMES))


def test_a_register_that_cannot_be_opened_is_named_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / NAMES[8]
    folder.mkdir()
    (folder / f"{NAMES[4]}.duckdb").write_bytes(b"no register" * 1000)
    monkeypatch.setenv("CALIB_REGISTER", str(folder / f"{NAMES[4]}.duckdb"))
    for page in ("", KNOWN, SIZE, TRUST, LEADS, METERS_SAY):
        held_harmless(opened(page), 1)
