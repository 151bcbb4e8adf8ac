"""Files the tool writes: whole or not at all, and never over what is not its own."""
