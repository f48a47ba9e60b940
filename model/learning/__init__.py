"""The models of the torque curve, and the readings they are fitted to."""
