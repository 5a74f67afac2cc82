"""Sheets to print: drawings on paper of a known size and at a true scale."""

from __future__ import annotations

from mulchwright.sheets.plan import PAPERS_MM, SCALES, PlanSheet, lay_out_plan, plan_png, plan_svg

__all__ = ["PAPERS_MM", "SCALES", "PlanSheet", "lay_out_plan", "plan_png", "plan_svg"]
