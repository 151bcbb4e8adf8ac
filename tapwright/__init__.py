"""Plans the water change of a large hard-water fish tank."""

__version__ = "0.1.0"
