"""One outside library each, nothing clever: files and pictures in, records out."""
