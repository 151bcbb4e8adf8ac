"""The log beside a household file, and the commands about it."""
