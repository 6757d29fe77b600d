"""Files that appear whole or not at all, and what JSON and CSV make of blanks."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from calib.cli.terminal import as_csv, as_json, plain, rows_of, write_whole


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    target = tmp_path / "answer.csv"
    target.write_text("before", encoding="utf-8")
    write_whole("after\n", str(target))
    assert target.read_bytes() == b"after\n"
    assert list(tmp_path.iterdir()) == [target]


def test_a_failure_leaves_what_was_there_and_no_draft(tmp_path: Path) -> None:
    target = tmp_path / "answer.csv"
    target.write_text("before", encoding="utf-8")
    with pytest.raises(UnicodeEncodeError):
        write_whole("half of it \udc80", str(target))
    assert target.read_text(encoding="utf-8") == "before"
    assert list(tmp_path.iterdir()) == [target]


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_text("before", encoding="utf-8")
    (tmp_path / "link.csv").symlink_to("real.csv")
    write_whole("after", str(tmp_path / "link.csv"))
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "real.csv").read_text(encoding="utf-8") == "after"


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (math.nan, None),
        (math.inf, None),
        ("", None),
        ("suspect-reading", "suspect-reading"),
        (np.float64(0.1), 0.1),
        (np.int64(3), 3),
        (np.bool_(False), False),
        (0.0, 0.0),
        (0, 0),
    ],
)
def test_plain_values(value: object, expected: object) -> None:
    found = plain(value)
    assert found == expected
    assert type(found) is type(expected)


def test_blanks_and_full_digits() -> None:
    frame = pd.DataFrame({"unit": ["a", ""], "low_ma": [0.1 + 0.2, math.nan]})
    assert as_csv(frame) == "unit,low_ma\na,0.30000000000000004\n,\n"
    back = json.loads(as_json(rows_of(frame)))
    assert back == [{"unit": "a", "low_ma": 0.1 + 0.2}, {"unit": None, "low_ma": None}]
