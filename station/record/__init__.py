"""The record of a test: its store and the waveform archive."""
