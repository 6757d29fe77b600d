"""The settings that the page is served with: where it listens, what it refuses, how it looks.

A checkout reads them from ``.streamlit/config.toml``, which a test holds to this table; an installed package has no
such file, so ``calib page`` passes them itself. Safety rests on the first ones: by its own defaults the server would
listen on every network interface, answer any host name and report usage.
"""

from __future__ import annotations

from calib.show.palette import DARK, LIGHT, Palette

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
    },
    "browser": {"gatherUsageStats": False, "serverAddress": HOME},
    "runner": {"magicEnabled": False},
    "client": {"toolbarMode": "minimal", "showErrorDetails": "none"},
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


def _typed(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def command_line(port: int | None = None) -> list[str]:
    """The settings as options for ``streamlit run``, a list's members each as an option of its own.

    Parameters
    ----------
    port : int or None
        Port to listen on, 1 to 65535; None leaves the server's own choice.

    Returns
    -------
    list of str
        Options such as ``--server.address=127.0.0.1``.
    """
    options = []
    for name, value in flat_settings().items():
        for member in value if isinstance(value, list) else [value]:
            options.append(f"--{name}={_typed(member)}")
    return options if port is None else [*options, f"--server.port={port}"]
