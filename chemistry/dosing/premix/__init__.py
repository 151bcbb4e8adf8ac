"""How the salts of a recipe get into the tote: buckets, their order, and where it might cloud."""
