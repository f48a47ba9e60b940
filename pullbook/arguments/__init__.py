"""What commands are given: options that several share, and builds and models as named there."""
