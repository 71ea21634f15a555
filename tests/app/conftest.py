"""The small films that the tests of the video adapter make themselves serve here too."""

from adapters.conftest import films, make_film

__all__ = ["films", "make_film"]
