"""Options of the commands, and how their words are read."""
