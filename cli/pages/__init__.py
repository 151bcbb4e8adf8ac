"""Answers as pages for the terminal."""
