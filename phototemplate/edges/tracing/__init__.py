"""One edge, measured in the photos' own pixels along its hint and intersected in space."""
