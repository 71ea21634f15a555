"""Frozen records, one plain noun a file. Nothing here computes or reads."""
