"""What is printed: a unit's sheet, as a PDF of one page.

From Python::

    with calib.Register("club.duckdb") as register:
        Path("T1.pdf").write_bytes(calib.unit_sheet(register, "T1"))
"""

from calib.paper.filled import Behind, of_answer, of_bench, of_known, sheet_of_unit, unit_sheet
from calib.paper.layout import Block, Photograph, UnitSheet
from calib.paper.picture import Mark

__all__ = [
    "Behind",
    "Block",
    "Mark",
    "Photograph",
    "UnitSheet",
    "of_answer",
    "of_bench",
    "of_known",
    "sheet_of_unit",
    "unit_sheet",
]
