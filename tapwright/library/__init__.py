"""The engine from Python: values as text, pint or numbers in; records out that become mappings, JSON and tables."""
