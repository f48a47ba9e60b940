"""Whether a build is inside, at the edge of or outside the tested data."""
