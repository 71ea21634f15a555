"""Records to pictures, tables and pages; `save` is the only writer."""
