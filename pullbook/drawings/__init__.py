"""Charts described once, and written as SVG for the page."""
