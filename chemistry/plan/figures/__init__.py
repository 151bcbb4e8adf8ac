"""What is computed of one change, before steps and guards read it."""
