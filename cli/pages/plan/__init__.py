"""The plan as a page and as a card."""
