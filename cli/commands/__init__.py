"""The commands: what each is asked, and what it answers."""
