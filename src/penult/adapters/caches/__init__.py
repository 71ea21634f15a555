"""What is kept between runs, named by everything that it depends on.

In: a clip's content and method. Out: joints and looks, or nothing.
It may not change a result.
"""
