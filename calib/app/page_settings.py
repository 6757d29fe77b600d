"""The settings that the page is served with: where it listens, what it refuses, how it looks.

``calib page`` puts each in place itself, and every other one back to the server's own default, so that no settings file
(in the folder that one stands in, in one's home, beside the page) and no variable of the environment has a say; then it
asks the server what holds. Safety rests on the first ones: by its own defaults the server would listen on every network
interface, answer any host name and report usage.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from typing import Any

from calib.charts.palette import DARK, LIGHT, Palette

HOME = "127.0.0.1"


def _theme(palette: Palette) -> dict[str, object]:
    return {
        "primaryColor": palette.accent,
        "backgroundColor": palette.ground,
        "secondaryBackgroundColor": palette.field,
        "textColor": palette.ink,
        "linkColor": palette.accent,
        "borderColor": palette.rule,
        "redColor": palette.warning,
        "orangeColor": palette.warning,
        "yellowColor": palette.warning,
        "blueColor": palette.accent,
        "greenColor": palette.accent,
        "violetColor": palette.practice,
        "redBackgroundColor": palette.warning_ground,
        "orangeBackgroundColor": palette.warning_ground,
        "yellowBackgroundColor": palette.warning_ground,
        "blueBackgroundColor": palette.field,
        "greenBackgroundColor": palette.field,
        "violetBackgroundColor": palette.practice_ground,
        "sidebar": {"backgroundColor": palette.field, "secondaryBackgroundColor": palette.ground},
    }


SETTINGS: dict[str, dict[str, object]] = {
    "server": {
        "address": HOME,
        "headless": True,
        "allowedHosts": ["localhost", HOME],
        "maxUploadSize": 50,
        "fileWatcherType": "none",
        "enableCORS": True,
        "corsAllowedOrigins": [],
        "enableXsrfProtection": True,
        "enableStaticServing": False,
        "baseUrlPath": "",
        "customComponentBaseUrlPath": "",
        "unsafeMetricsUserAttributes": [],
        "xsrfCookieSameSite": "strict",
    },
    "browser": {"gatherUsageStats": False, "serverAddress": HOME},
    "runner": {"magicEnabled": False},
    "client": {"toolbarMode": "minimal", "showErrorDetails": "none", "showErrorLinks": False, "allowedOrigins": []},
    "global": {"developmentMode": False},
    "logger": {"level": "warning", "messageFormat": "%(asctime)s %(message)s", "enableRich": False},
    "secrets": {"files": []},
    "theme": {
        "font": "sans-serif",
        "headingFont": "serif",
        "baseFontSize": 17,
        "baseRadius": "small",
        "light": _theme(LIGHT),
        "dark": _theme(DARK),
    },
}


def _flat(table: dict[str, object], before: str = "") -> dict[str, object]:
    flat: dict[str, object] = {}
    for key, value in table.items():
        name = f"{before}{key}"
        flat |= _flat(value, f"{name}.") if isinstance(value, dict) else {name: value}
    return flat


def flat_settings() -> dict[str, object]:
    """Every setting by its dotted name, such as ``server.address``.

    Returns
    -------
    dict of str to object
        Text, whole number, flag or list of text for each name.
    """
    return _flat(dict(SETTINGS))


def hosts_of(proxy: str | None) -> list[str]:
    """The names that the page answers to: this machine's own, and that of a proxy before it."""
    return ["localhost", HOME, *([proxy] if proxy else [])]


def in_place(port: int, proxy: str | None = None) -> dict[str, object]:
    """Put every setting of the server in this process in place.

    Parameters
    ----------
    port : int
        Port to listen on, 1 to 65535.
    proxy : str or None
        Host that a proxy serves the page as.

    Returns
    -------
    dict of str to object
        What has to hold by now, by dotted name; every other setting is the server's own default.
    """
    from streamlit import config

    wanted = flat_settings() | {
        "server.port": port,
        "server.allowedHosts": hosts_of(proxy),
        "server.cookieSecret": secrets.token_hex(32),
        "browser.serverPort": port,
        "server.maxCacheDataSize": None,
        "server.trustedUserHeaders": {},
        "theme.base": None,  # else a file or an address that themes are taken from
    }
    options = config.get_config_options(force_reparse=True, options_from_flags=wanted)
    for name, option in options.items():
        if name not in wanted and not _is_default(option):
            config.set_option(name, option.default_val)
    return wanted


def _is_default(option: Any) -> bool:
    return option.where_defined == option.DEFAULT_DEFINITION or option.value == option.default_val


def out_of_place(wanted: Mapping[str, object]) -> list[str]:
    """The settings that do not hold in the server in this process, each with what it is and what it has to be."""
    from streamlit import config

    options = config.get_config_options()
    wrong = [f"{name} is unknown to this release of Streamlit" for name in wanted if name not in options]
    for name, option in options.items():
        has_to_be = wanted.get(name, option.default_val)
        if option.value != has_to_be and not (name not in wanted and _is_default(option)):
            shown = "(secret)" if option.sensitive else f"{option.value!r} and has to be {has_to_be!r}"
            wrong.append(f"{name} is {shown}")
    return wrong
