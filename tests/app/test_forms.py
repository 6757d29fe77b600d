"""The one way in: what is typed into a form becomes a record in few moves, none of them by way of a table."""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path
from types import FrameType

import pytest

import calib
from calib.app.pages import what_can_it_give
from tests.app.visits import READINGS, enter, fill, opened, settle

MOST = 8  # files that a typed voltage goes through from its field to the record


def test_a_typed_voltage_becomes_the_record_in_few_moves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each file of calib with a call made in it, from where the page gathers its form to the record's being made."""
    settle(tmp_path, monkeypatch)
    at = enter(opened(), **READINGS | {"ohms_read": None})
    inside, files, made = f"{Path(calib.__file__).parent}{os.sep}", dict[str, int](), []

    def seen(frame: FrameType, event: str, argument: object) -> None:
        if made:  # all is seen: the rest of the page runs unwatched
            sys.setprofile(None)
            return
        if not frame.f_code.co_filename.startswith(inside):
            return
        name = Path(frame.f_code.co_filename).relative_to(inside).as_posix()
        if event == "call" and (files or frame.f_code.co_name == what_can_it_give.unit_entries.__name__):
            files[name] = files.get(name, 0) + 1
        if event == "return" and isinstance(argument, calib.UnknownUnit):
            made.append(argument)

    fill(at, "read_volts_read", "27,76 V")
    fill(at, "read_ohms_read", "188.6")
    threading.setprofile(seen)
    sys.setprofile(seen)
    try:
        at.run()
    finally:
        sys.setprofile(None)
        threading.setprofile(None)
    assert [one.hv_v for one in made] == [27.76]
    assert {"app/forms.py", "units.py", "register/records.py"} <= {*files}
    assert len(files) <= MOST, sorted(files)
