"""What a water is: its ions, heat, conductivity and ammonia, and what becomes of several waters in one vessel."""
