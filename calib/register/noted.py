"""What is noted of a revision in a bundle's tables: its columns, and their cells read back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from calib.errors import Fault, InputError
from calib.register.evidence_file import KEPT
from calib.register.fields import Refusal, name_text, one_line
from calib.register.tables import text_in

HEADS: tuple[dict[str, Any], ...] = (
    {"name": "record_id", "type": "string", "description": "Hash of contributor and unit."},
    {
        "name": "revision",
        "type": "integer",
        "is": "revision's number",
        "description": "1 for the first of a record, and on.",
    },
    {
        "name": "action",
        "type": "string",
        "description": "What was done.",
        "enum": ["add", "amend", "withdraw", "restore", "keep"],
    },
    {"name": "by", "type": "string", "description": "Who did it.", "optional": True},
    {"name": "reason", "type": "string", "description": "Why.", "optional": True},
    {"name": "made_at", "type": "datetime", "description": "When it was done, in UTC."},
    {"name": "needs_review", "type": "boolean", "description": "Whether somebody should look at it."},
)
_SHARED = {str(one["name"]): one for one in HEADS}
ATTACHED_HEADS: tuple[dict[str, Any], ...] = (
    {"name": "attachment_id", "type": "string", "description": "Hash of what it is attached to and of its content."},
    {**_SHARED["revision"], "description": "1 for the first of an attachment, and on."},
    {**_SHARED["action"], "enum": ["attach", "detach"]},
    *(_SHARED[name] for name in ("by", "reason", "made_at", "record_id")),
    {"name": "name", "type": "string", "description": "What the file was called."},
    {"name": "media", "type": "string", "description": "Its type.", "enum": list(KEPT)},
    {"name": "size", "type": "integer", "is": "length of a file", "description": "Its length in bytes."},
    {"name": "sha256", "type": "string", "description": "Hash of its content, which is its name under attachments."},
)


def head_of(
    cells: Mapping[str, str], where: str, row: int, heads: Sequence[Mapping[str, Any]] = HEADS
) -> dict[str, object]:
    """What is noted of a revision, of its kind; text that an export kept from being a formula as it was.

    Raises
    ------
    InputError
        With every cell that is not of its kind.
    """
    read: dict[str, object] = {}
    faults = []
    for one in heads:
        name, cell = str(one["name"]), cells[str(one["name"])].strip()
        try:
            read[name] = _READ.get(one["type"], _text)(cell, one)
        except ValueError as error:
            refusal = error if isinstance(error, Refusal) else Refusal(f"is no {one['type']}", "have it exported again")
            faults.append(Fault(where, row, name, cell, refusal.problem, refusal.remedy, refusal.code))
    if faults:
        raise InputError(faults)
    return read


def _text(cell: str, one: Mapping[str, Any]) -> str:
    if not cell and not one.get("optional"):
        raise Refusal("is needed", "have it exported again", "missing")
    if cell and cell not in one.get("enum", (cell,)):
        raise Refusal("is not one of the choices", f"it is one of: {', '.join(one['enum'])}", "choice")
    return (name_text if one["name"] == "by" else one_line)(text_in(cell))


def _number(cell: str, one: Mapping[str, Any]) -> int:
    if not (cell.isascii() and cell.isdigit() and 0 < len(cell) < 10 and int(cell) > 0):
        raise Refusal(f"is no {one['is']}", "have it exported again", "not-a-number")
    return int(cell)


def _moment(cell: str, one: Mapping[str, Any]) -> datetime:
    moment = datetime.fromisoformat(cell)
    if moment.tzinfo is None:
        raise Refusal("is a time of no zone", "have it exported again", "date")
    return moment.astimezone(UTC)


def _yes(cell: str, one: Mapping[str, Any]) -> bool:
    if cell not in ("true", "false"):
        raise Refusal("is not true or false", "have it exported again", "choice")
    return cell == "true"


_READ: dict[str, Callable[[str, Mapping[str, Any]], object]] = {
    "integer": _number,
    "datetime": _moment,
    "boolean": _yes,
}
