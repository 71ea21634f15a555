"""penult: what a long or triple jump take-off is made of, measured from a phone clip."""

__version__ = "0.2.0"
