"""The envelope: every danger built on purpose and found, and every way out followed."""
