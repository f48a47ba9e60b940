"""What the model learns from: missing fields filled, features engineered."""
