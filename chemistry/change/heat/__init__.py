"""Hot and cold: the blend, what a tote loses, what the store gives, what the tank becomes."""
