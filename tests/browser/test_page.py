"""The page in a real browser: the main jobs, on a desk and on a phone, on light and dark."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING

import pytest

import calib
from tests.browser.conftest import WINDOWS, Look, Serve, Server
from tests.counts import share

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Page

PAGES = {"Known units": "text=Add this unit", "How the multiplier": "text=32 and up"}
PAGES |= {"How far to trust it": "text=Beside two rules of thumb"}
OHMS = "Ohms read on the high-voltage winding"
SHOWN = "([label, value]) => document.querySelector(`input[aria-label='${label}']`)?.value === value"
ANSWER = re.compile(
    r"Most likely (\d+) mA; nine units in ten like this are rated between (\d+) and (\d+) mA, and nine in ten at least"
)
NEW = {
    "Unit": "AL-7",
    "Contributor": "Alder Lane",
    "Rated current": "90",
    "Line voltage": "117",
    "Line frequency": "60",
    "Excitation": "4.97",
    "Voltage read": "27.76",
    "Winding resistance": "188.6",
    "Winding temperature": "20",
}
CHOSEN = {"Evidence": "nameplate", "Rectifier": "full-wave", "Filter input": "capacitor", "Centre tap": "yes"}


def type_in(page: Page, label: str, value: str) -> None:
    field = page.get_by_role("main").get_by_label(label, exact=True)
    field.fill(value)
    field.press("Tab")


def answer_in(page: Page) -> str:
    page.wait_for_selector("#answer")
    return page.locator("#answer").inner_text()


def by_keyboard(page: Page) -> None:
    """Empty the form of the practice register, and type in a unit's readings, without a pointer."""
    for typed in ("", "55"):  # each is seen to be empty then
        if typed:
            type_in(page, OHMS, typed)
            page.wait_for_selector("text=Still needed for a first answer: volts on the primary")
        page.get_by_role("button", name="Clear the readings").press("Enter")
        page.wait_for_function(SHOWN, arg=[OHMS, ""])
    wanted = {"Volts on the primary": "5.58", "Volts read on the high-voltage winding": "26.68", OHMS: "461.5"}
    for _ in range(60):
        page.keyboard.press("Tab")
        label = page.evaluate("document.activeElement.getAttribute('aria-label') || ''")
        if label in wanted:
            page.keyboard.type(wanted.pop(label))
            page.keyboard.press("Enter")
        if not wanted:
            break
    assert wanted == {}


@pytest.mark.parametrize(("size", "scheme"), WINDOWS[-share(1, 4) :])
def test_readings_give_a_sentence_with_the_answer_and_every_page_fits_its_window(
    practice: Server, shared: Look, size: str, scheme: str
) -> None:
    """The practice register answers for a unit of its own; readings typed in by keyboard alone give an answer; a bad
    one is told by its field and nothing is lost; and no page runs over its side or asks another host."""
    visit = shared(practice, size, scheme)
    page = visit.turn_to("What can it give?")
    page.get_by_role("button", name="Fill in a practice unit").click()
    page.wait_for_selector("text=Simulated practice unit")
    assert ANSWER.match(answer_in(page))
    ground = page.evaluate("getComputedStyle(document.querySelector('.stApp')).backgroundColor")
    light = sum(int(part) for part in re.findall(r"\d+", ground)[:3]) > 3 * 128
    assert light == (scheme == "light")
    by_keyboard(page)
    found = ANSWER.match(answer_in(page))
    assert found
    likely, low, high = (int(figure) for figure in found.groups())
    assert low < likely < high
    assert "PRACTICE REGISTER" in page.get_by_role("main").inner_text()
    picture = page.locator("[aria-label*='Most likely']").first
    assert f"Most likely {likely} mA" in (picture.get_attribute("aria-label") or "")
    ohms = page.get_by_label("Ohms read on the high-voltage winding", exact=True)
    before = ohms.input_value()
    type_in(page, "Temperature of the winding then", "500")
    page.wait_for_selector("text=Temperature of the winding then: 500")
    assert page.get_by_label("Temperature of the winding then", exact=True).input_value() == "500"
    assert (float(before) > 0, ohms.input_value()) == (True, before)
    visit.check()
    for title, there in PAGES.items():
        visit.turn_to(title)
        page.wait_for_selector("text=It estimates and does not certify")
        page.wait_for_selector(there)
        visit.check()


BROKEN = """
from calib.app import context

def broken(*given):
    raise RuntimeError("the inside of it")

context.forget = broken
"""


def test_a_table_is_brought_in_from_a_file(own: Server, shared: Look, tmp_path: Path) -> None:
    """Three real units of a bench of its own, one read at 70 °C, which the preview asks about."""
    known = calib.read_known(calib.shipped("datasets/practice/known.csv")).head(3)
    known = known.assign(simulated="false", contributor="Nether Weir", winding_temp_c=[20.0, 70.0, 20.0])
    known.to_csv(tmp_path / "weir.csv", index=False)
    visit = shared(own)
    page = visit.turn_to("Known units")
    page.locator("input[type=file]").first.set_input_files(tmp_path / "weir.csv")
    page.wait_for_selector("text=Worth a second look before you bring it in")
    page.get_by_role("button", name="Bring in 3 units").click()
    page.wait_for_selector("text=3 units added")
    visit.check()


def test_an_error_of_the_page_is_said_in_its_own_words_and_sends_nobody_elsewhere(
    tmp_path: Path, serve: Serve, look: Look
) -> None:
    """A button that breaks: neither the error nor a link to another host is shown, and what was typed stays."""
    (tmp_path / "sitecustomize.py").write_text(BROKEN, encoding="utf-8")
    server = serve()
    visit = look(server, "phone", "dark")
    page = visit.open()
    type_in(page, "Volts on the primary", "4,97")
    page.wait_for_selector("text=Read as 4.97 V.")
    page.get_by_role("button", name="Clear the readings").click()
    page.wait_for_selector("text=This page met an error of its own")
    said = page.get_by_role("main").inner_text()
    assert "safe in the register" in said
    assert "the inside of it" not in page.content()
    links = page.eval_on_selector_all("a[href]", "links => links.map(link => link.host)")
    assert set(links) <= {f"127.0.0.1:{server.port}"}
    assert "RuntimeError: the inside of it" in server.log.read_text(encoding="utf-8")
    for title in ("Known units", "What can it give?"):
        visit.turn_to(title)
    page.wait_for_function("document.querySelector(\"input[aria-label='Volts on the primary']\")?.value === '4,97'")
    visit.check()


def add_new(page: Page) -> None:
    for label, value in NEW.items():
        type_in(page, label, value)
    for label, value in CHOSEN.items():
        page.get_by_role("combobox", name=label).click()
        page.get_by_role("option", name=re.compile(rf"^{value}\b")).click()
    page.get_by_role("button", name="Add this unit").click()
    page.wait_for_selector("text=Added AL-7")


def exported(page: Page) -> list[dict[str, str]]:
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Hand out as CSV").click()
    with open(waiting.value.path(), encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def test_a_unit_added_after_a_reload_goes_into_the_register_that_was_open_and_is_handed_out(
    serve: Serve, look: Look
) -> None:
    """The server was started on practice; one's own register was chosen, and is where an addition goes."""
    server = serve("--practice")
    visit = look(server)
    page = visit.open()
    page.wait_for_selector("text=PRACTICE REGISTER")
    page.get_by_text("My own", exact=True).click()
    page.wait_for_selector("text=Open: your register")
    visit.turn_to("Known units")
    page.wait_for_selector("text=No known units yet")
    page.wait_for_url("**/known-units?register=own")
    page.reload()
    page.wait_for_selector("text=No known units yet")
    add_new(page)
    (row,) = exported(page)
    assert (row["unit"], row["contributor"], float(row["rated_current_ma"])) == ("AL-7", "Alder Lane", 90.0)
    page.go_back()
    page.wait_for_url("**/?register=own")
    page.wait_for_selector("text=Open: your register, 1 known unit")
    visit.check()
    server.stop()
    with calib.Register(server.register) as register:
        assert register.count() == 1
