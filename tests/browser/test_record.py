"""A record's own page in a real browser: a mistake made, found, amended and undone, and the clicks that lead there."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

import calib
from tests.browser.conftest import WINDOWS, Look, Server

HEAD_PX, ROW_PX, BOX_PX = 36, 35, 20  # of the table that the browser draws by itself: its heads, a row, the box
MADE = {"desk": (0, "198"), "phone": (3, "60")}  # the row that is worked on in each window, and its rated current


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server on a register of twelve units, which both windows work in."""
    folder = tmp_path_factory.mktemp("club")
    known = calib.read_known(calib.shipped("datasets/practice/known.csv")).head(12).assign(simulated=False)
    with calib.Register(folder / "register.duckdb") as register:
        register.import_table(known)
    server = Server(folder)
    yield server
    server.stop()


@pytest.fixture
def club(served: Server) -> Iterator[Server]:
    """The same, where whatever a window left behind is put back for the next one."""
    yield served
    with calib.Register(served.register) as register:
        for unit in (f"AL-{row + 1:02}" for row, _ in MADE.values()):
            rated = register.history("Alder Lane", unit)["rated_current_ma"]
            if rated.iloc[-1] != rated.iloc[0]:
                register.restore("Alder Lane", unit, reason="for the other window", revision=1)


def fill(page: Page, label: str, value: str) -> None:
    field = page.get_by_role("main").get_by_label(label, exact=True)
    field.fill(value)
    field.press("Tab")


def choose_row(page: Page, row: int) -> None:
    """Click on the box before a row of the table, which is drawn as a picture."""
    page.locator(".st-key-known_table canvas").first.wait_for()
    drawn = page.locator(".st-key-known_table .dvn-scroller")
    drawn.scroll_into_view_if_needed()
    drawn.click(position={"x": BOX_PX, "y": HEAD_PX + ROW_PX * row + ROW_PX // 2})


@pytest.mark.parametrize(("size", "scheme"), WINDOWS[:2])
def test_a_mistake_is_made_found_amended_and_undone(club: Server, look: Look, size: str, scheme: str) -> None:
    """A nought too many: found by the fit, listed among the doubtful, put right by one click, and that taken back. A
    click on a row of the known units leads to their record, and one on a point of the picture.
    """
    row, rated = MADE[size]
    unit = f"AL-{row + 1:02}"
    visit = look(club, size, scheme)
    page = visit.open("known-units")
    choose_row(page, row)
    page.wait_for_selector(f"h2:has-text('{unit} of Alder Lane')")
    page.get_by_role("button", name="Amend it by hand").click()
    expect(page.get_by_role("main").get_by_label("Rated current", exact=True)).to_have_value(rated)
    fill(page, "Rated current", f"{rated}0")
    page.wait_for_selector(f"tr:has-text('Rated current, mA'):has-text('{rated}0')")
    fill(page, "Why (needed for each step)", "read the plate again")
    page.get_by_role("button", name="Save the amended record").click()
    page.wait_for_selector("h3:has-text('In doubt')")
    visit.check()
    visit.turn_to("Doubtful records", re.compile(r"^\d doubtful records?: look"))
    page.wait_for_selector(f"td:has-text('{rated}0')")
    page.get_by_role("button", name="Look at its own page").click()
    page.wait_for_selector(f"h2:has-text('{unit} of Alder Lane')")
    fill(page, "Why (needed for each step)", "a nought too many")
    page.get_by_role("button", name="Amend it as corrected").click()
    page.wait_for_selector(f"tr:has-text('a nought too many'):has-text('{rated}0 → {rated}')")
    page.get_by_role("button", name="Undo").click()
    page.wait_for_selector(f"tr:has-text('{rated} → {rated}0'):not(:has-text('read the plate'))")
    visit.check()
    visit.turn_to("How the multiplier")
    point = page.locator("path[aria-label*='unit: AL-10;']").first
    point.scroll_into_view_if_needed()
    point.click()
    page.wait_for_selector("h2:has-text('AL-10 of Alder Lane')")
    visit.check()
    with calib.Register(club.register) as register:
        past = register.history("Alder Lane", unit)
    assert past["rated_current_ma"].tolist() == [float(one) for one in (rated, f"{rated}0", rated, f"{rated}0")]
    assert past["reason"].tolist()[1:3] == ["read the plate again", "a nought too many"]
