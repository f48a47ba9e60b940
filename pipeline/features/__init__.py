"""The features that the model learns from: fill missing fields, work out features."""
