"""Audit: is a certificate genuine, is the archive whole, and does every number follow from what was stored?"""
