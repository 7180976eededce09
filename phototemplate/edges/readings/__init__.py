"""What a line near the edge of a cabinet top may be, and which of the lines of a place is the edge.

* :mod:`constants`: what each reading looks like, and how often it occurs, in one table with its origin;
* :mod:`likelihood`: how well a line of the map fits each reading;
* :mod:`decide`: the posterior over the lines of one place.
"""
