"""The model: training, predictions, and their error bars."""
