"""Pictures as SVG, by small functions: scales with ticks, panels with marks, and the picture around them."""
