"""The map of lines in space near a path: what the photos show there, before anything is decided about it.

* :mod:`space_hough` finds lines on which the grey steps of all photos agree, at any height near that of the cabinet tops;
* :mod:`space_lines` settles them by least squares and says which photos show them;
* :mod:`surface_end` tests, with the photos' own light, where the surface at the height of the tops ends;
* :mod:`local_map` puts these together.
"""
