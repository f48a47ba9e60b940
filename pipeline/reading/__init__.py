"""Read files as shops keep them, up to typed sheets."""
