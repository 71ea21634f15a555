"""The local pages: review of a result, picking of marks."""
