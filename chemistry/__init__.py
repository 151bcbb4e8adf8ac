"""The engine: water chemistry, dosing, heat and flow of a water change, as pure functions and frozen records.

Floors, lowest first; an import points down only: errors, findings, reference, units; substances;
water; dosing and change; plan.
"""
