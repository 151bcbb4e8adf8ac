"""Household files in, answers out: the command line, its terminal pages and its JSON."""
