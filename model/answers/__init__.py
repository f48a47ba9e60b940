"""The answers to a builder's questions, one module for each question."""
