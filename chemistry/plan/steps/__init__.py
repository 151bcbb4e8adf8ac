"""The steps of a change in order, and their clocks."""
