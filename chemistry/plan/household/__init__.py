"""The household as strict tables that check themselves."""
