"""Salts and deionised water that bring a water inside a target's bands: which, how much, and why not."""
