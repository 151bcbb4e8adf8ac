"""What to put into a water, and how much: neutraliser against chlorine, salts towards a target."""
