"""The sheet: a plan as one page for the phone at the tank, which works without a network and prints on paper."""
