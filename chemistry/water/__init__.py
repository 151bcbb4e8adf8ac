"""What a water is: its ions, equilibrium, heat and ammonia, and what becomes of several waters in one vessel."""
