"""The errors that the wings raise; only the command line turns them into exit statuses."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with an input.

    Attributes
    ----------
    where : str
        File, form or call that the input came from; blank where there is none.
    row : int or None
        Line in the file, the header being 1; None for an input that has no rows.
    column : str
        Name of the field as the contract spells it; blank where the fault is of the whole row or file.
    value : str
        The value as it was typed.
    problem : str
        What is wrong, with the limit where there is one.
    remedy : str
        What to do about it.
    """

    where: str
    row: int | None
    column: str
    value: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        place = [part for part in (self.where, f"row {self.row}" if self.row is not None else "", self.column) if part]
        typed = f" '{self.value}'" if self.value else " (empty)" if self.column else ""
        line = f"{', '.join(place)}{typed}: {self.problem}; {self.remedy}"
        return " ".join(line.split())


class InputError(ValueError):
    """An input is wrong: carries every fault at once, so that one look mends them all."""

    def __init__(self, faults: list[Fault] | tuple[Fault, ...]) -> None:
        if not faults:
            raise ValueError("an InputError needs at least one fault")
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    @classmethod
    def one(cls, problem: str, remedy: str, *, column: str = "", value: object = "", where: str = "") -> InputError:
        """An error of a single fault that belongs to no row."""
        return cls([Fault(where, None, column, str(value), problem, remedy)])


class CannotError(RuntimeError):
    """The input is right but the work could not be done: one line that says why."""


class RegisterError(CannotError):
    """The register's file is busy, damaged, read-only, of another kind, or the disk is full."""
