"""Rules: one small function each, from a typed sheet to what is amiss with it.

The limits are common practice, no source, where no source stands beside them. What cannot be is
refused; what is merely rare is accepted with a warning, and counts for less.
"""
