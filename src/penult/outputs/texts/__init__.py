"""Words, units and digits: names of measures, verdicts, published values.

In: values. Out: text.
It may not know of pages or pictures.
"""
