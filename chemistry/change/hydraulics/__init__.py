"""Pump, siphon and hose: friction, flow and minutes."""
