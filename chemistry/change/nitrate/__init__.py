"""Nitrate from change to change: its course, how fast a tank makes it, and what holds it under a ceiling."""
