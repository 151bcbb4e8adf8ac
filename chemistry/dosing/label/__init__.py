"""A supplier's label against the chemistry of what it says is in the product."""
