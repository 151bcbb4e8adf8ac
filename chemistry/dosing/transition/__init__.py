"""From one water to another in the fewest changes that fish stand."""
