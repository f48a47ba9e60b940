"""The curve model as a scikit-learn estimator."""
