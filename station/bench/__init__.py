"""The bench: instruments by role over SCPI and VISA, their file, guard and safe state."""
