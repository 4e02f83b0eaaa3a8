"""The printed form of a record."""
