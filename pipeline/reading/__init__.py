"""Files as shops keep them into typed sheets."""
