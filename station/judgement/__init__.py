"""Limit files, the decision rule and the verdict."""
