"""Which lead is which: from resistances between pairs of leads to windings, taps, likely roles and the next reading."""

from calib.bench.leads.colours import CODED_WEIGHT, OTHER_WEIGHT, ColourHint, colour_hint
from calib.bench.leads.identify import identify_leads
from calib.bench.leads.readings import LeadReading, lead_readings
from calib.bench.leads.report import CAUTIONS
from calib.bench.leads.result import Contradiction, LeadsFound, LeadWinding, NextStep, Order
from calib.bench.leads.roles import expected_ohm_ratio

__all__ = [
    "CAUTIONS",
    "CODED_WEIGHT",
    "OTHER_WEIGHT",
    "ColourHint",
    "Contradiction",
    "LeadReading",
    "LeadWinding",
    "LeadsFound",
    "NextStep",
    "Order",
    "colour_hint",
    "expected_ohm_ratio",
    "identify_leads",
    "lead_readings",
]
