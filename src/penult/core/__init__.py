"""Pure computation: records in, records out. No files, pictures, clocks or hidden randomness."""
