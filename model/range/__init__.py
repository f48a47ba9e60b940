"""Whether a build lies inside, at the edge of or outside what was tested."""
