"""The page of doubtful records: found with its correction, amended, undone, kept with a reason."""

from __future__ import annotations

from pathlib import Path

import pytest

import calib
from calib.app import context
from tests.app.visits import UNIT, opened, settle, text_of, unescaped

DOUBTFUL = "calib/app/pages/doubtful_records.py"


def test_a_record_is_amended_undone_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = settle(tmp_path, monkeypatch)
    first = calib.KnownUnit.parse(UNIT)
    with calib.Register(path) as register:
        register.add(first)
        register.add(first.model_copy(update={"rated_current_ma": 95.0}), by="Tin Street")
    at = opened(DOUBTFUL)
    assert at.selectbox(key="seen_doubt").options == ["AL-7 of Alder Lane"]
    assert "added again by Tin Street: Rated current 90 then, 95 now" in text_of(at)
    for key, current in (("doubt_amend", 90.0), ("doubt_undo", 95.0)):
        at.button(key=key).click().run()
        assert not at.exception
        assert register.known()["rated_current_ma"].tolist() == [current]
    at.button(key="doubt_keep").click().run()
    assert "Nothing was done: reason" in unescaped(at.error[0].value)
    at.text_input(key="seen_doubt_why").set_value("read again").run()
    at.button(key="doubt_keep").click().run()
    assert not at.exception
    assert "No record is in doubt." in text_of(at)
    assert register.known()["kept"].tolist() == ["read again"]
    at.radio(key=context.CHOICE).set_value(context.PRACTICE).run()
    assert "kept as it is" not in text_of(at)
    assert not [one for one in at.button if one.key == "doubt_undo"]
