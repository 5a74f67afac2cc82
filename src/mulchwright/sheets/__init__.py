"""Sheets to print: drawings on paper of a known size and at a true scale."""

from __future__ import annotations

from mulchwright.sheets.plan import plan_png, plan_svg
from mulchwright.sheets.plan_layout import PAPERS_MM, SCALES, PlanSheet, lay_out_plan

__all__ = ["PAPERS_MM", "SCALES", "PlanSheet", "lay_out_plan", "plan_png", "plan_svg"]
