"""The neutraliser that was forgotten while the tank fills."""
