"""A tank that fills with tap water nobody has neutralised."""
