"""The page's settings: what a checkout reads and what an installed package passes are the same, and they are safe."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from calib.show.page_settings import SETTINGS, command_line, flat_settings
from calib.show.palette import DARK, LIGHT, Palette

ROOT = Path(__file__).resolve().parents[2]


def test_the_checkouts_file_says_the_same_as_the_table() -> None:
    written = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert written == SETTINGS


@pytest.mark.parametrize(
    "option",
    [
        "--server.address=127.0.0.1",
        "--server.allowedHosts=localhost",
        "--server.allowedHosts=127.0.0.1",
        "--browser.gatherUsageStats=false",
        "--server.port=8620",
    ],
)
def test_what_safety_rests_on_is_passed(option: str) -> None:
    assert option in command_line(8620)


def test_every_option_is_one_that_the_server_knows() -> None:
    from streamlit import config

    known = set(config.get_config_options(force_reparse=True))
    assert set(flat_settings()) <= known
    assert "server.address" in known


def luminance(colour: str) -> float:
    """Relative luminance as the Web Content Accessibility Guidelines 2.2 define it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("text", ["ink", "soft_ink", "accent", "warning", "practice"])
@pytest.mark.parametrize("ground", ["ground", "field"])
def test_text_stands_out_from_its_ground(colours: Palette, text: str, ground: str) -> None:
    """At least 4.5 to 1, the limit of the Web Content Accessibility Guidelines 2.2 for text (level AA)."""
    assert contrast(getattr(colours, text), getattr(colours, ground)) >= 4.5


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out_in_the_bands_too(colours: Palette) -> None:
    assert contrast(colours.ink, colours.practice_ground) >= 4.5
    assert contrast(colours.warning, colours.warning_ground) >= 4.5
