"""A plan's figures and steps held against limits, what the envelope makes of them, and ways out of a stop."""
