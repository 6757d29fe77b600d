"""Which lead is which: from resistances between pairs of leads to windings, taps, likely roles and the next reading."""

from calib.leads.colours import CODED_WEIGHT, OTHER_WEIGHT, ColourHint, colour_hint, colour_of
from calib.leads.identify import identify_leads
from calib.leads.readings import LeadReading, lead_readings
from calib.leads.report import CAUTIONS
from calib.leads.result import Contradiction, LeadsFound, LeadWinding, NextStep, Order
from calib.leads.roles import expected_ohm_ratio

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
    "colour_of",
    "expected_ohm_ratio",
    "identify_leads",
    "lead_readings",
]
