"""What is printed: a unit's sheet, and the winding sheet of a rewind plan, each a PDF of one page.

From Python::

    with calib.Register("club.duckdb") as register:
        Path("T1.pdf").write_bytes(calib.unit_sheet(register, "T1"))
"""

from calib.paper.filled import Behind, of_answer, of_bench, of_known, sheet_of_unit, unit_sheet
from calib.paper.layout import Block, Photograph, UnitSheet
from calib.paper.picture import Mark
from calib.paper.winding import winding_sheet

__all__ = [
    "Behind",
    "Block",
    "Mark",
    "winding_sheet",
    "Photograph",
    "UnitSheet",
    "of_answer",
    "of_bench",
    "of_known",
    "sheet_of_unit",
    "unit_sheet",
]
