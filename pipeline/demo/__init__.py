"""Invented sheets of the Tern Coast rebuilders' circle, made by a simulated engine.

No shop, engine or number here is real. The simulated engine computes the cycle by crank angle and
does not use the features that the model learns from, so that the demo is a fair test.
"""
