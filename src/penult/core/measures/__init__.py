"""One file a family of measures; each function's docstring carries the measure's definition."""
