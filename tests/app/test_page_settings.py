"""The page's settings: safe ones, and nobody else's hold; and its colours."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calib.app.page_server import SETTINGS, in_place, out_of_place
from calib.charts.style import DARK, LIGHT, Palette

# What a settings file may hold of each kind, none of it a default.
NEVER = {bool: (True, False), int: (99, 98), float: (99.5, 98.5), str: ("other", "another")}


@pytest.mark.parametrize("place", ["start folder", "home"])
def test_no_setting_is_left_to_a_settings_file(place: str, tmp_path: Path) -> None:
    """Every option that the server knows is set in a file to what it is not by itself; none of it holds."""
    from streamlit import config

    before = {name: option.value for name, option in config.get_config_options(force_reparse=True).items()}
    start = tmp_path / "start"
    file = (start if place == "start folder" else tmp_path) / ".streamlit" / "config.toml"
    file.parent.mkdir(parents=True)
    start.mkdir(exist_ok=True)
    sections: dict[str, list[str]] = {}
    for name, option in config.get_config_options().items():
        section, _, key = name.rpartition(".")
        never = next(value for value in NEVER[option.type] if value != before[name])
        sections.setdefault(section, []).append(f"{key} = {json.dumps([never] if option.multiple else never)}")
    file.write_text("\n".join(f"[{name}]\n" + "\n".join(lines) for name, lines in sections.items()), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(start)
        for variable in ("HOME", "USERPROFILE"):
            patch.setenv(variable, str(tmp_path))
        wanted = in_place(8620)
        assert out_of_place(wanted) == []
        found = {name: option.value for name, option in config.get_config_options().items()}
    config.get_config_options(force_reparse=True)
    assert set(SETTINGS) < set(wanted) < set(before)
    assert found == before | wanted


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("server.address", "127.0.0.1"),
        ("server.allowedHosts", ["localhost", "127.0.0.1"]),
        ("server.enableCORS", True),
        ("server.enableXsrfProtection", True),
        ("server.enableStaticServing", False),
        ("browser.gatherUsageStats", False),
        ("client.allowedOrigins", []),
        ("client.showErrorDetails", "none"),
        ("client.showErrorLinks", False),
    ],
)
def test_what_safety_rests_on_is_named(name: str, value: object) -> None:
    assert SETTINGS[name] == value


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
