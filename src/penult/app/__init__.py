"""Use cases: paths and settings in, results and files out; progress by callback; never prints."""
