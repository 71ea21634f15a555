"""Drawings of numbers as SVG or PNG.

In: values. Out: drawings that a page takes up.
It may not know of whole pages.
"""
