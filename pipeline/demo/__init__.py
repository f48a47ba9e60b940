"""Invented sheets of the Tern Coast rebuilders' circle, made by a stand-in for an engine.

No shop, engine or number here is real. The stand-in resolves the cycle by crank angle and knows
nothing of the features the model learns from, so that the demo cannot flatter the model.
"""
